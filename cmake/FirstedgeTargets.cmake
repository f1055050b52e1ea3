# How a room, a test and an app become targets. Sources are globbed with CONFIGURE_DEPENDS, so that adding a file to
# a room touches that room alone.

option(FIRSTEDGE_WARNINGS_ARE_ERRORS "Stop at a compiler warning" OFF)
set(FIRSTEDGE_SANITIZE "" CACHE STRING "Sanitizers, as -fsanitize takes them")

# In the build tree, lib/ is reached under the same name as in an installed tree: <firstedge/room/file.hpp>.
file(MAKE_DIRECTORY ${PROJECT_BINARY_DIR}/include)
file(CREATE_LINK ${PROJECT_SOURCE_DIR}/lib ${PROJECT_BINARY_DIR}/include/firstedge SYMBOLIC)

# Flags of all our own targets. Contraction is off because results promise the same bits on every run. A member left
# out of a designated initializer has its default value: that is how options structs are meant to be used.
add_library(firstedge_flags INTERFACE)
target_compile_options(firstedge_flags INTERFACE
  -Wall -Wextra -Wpedantic -Wshadow -Wnon-virtual-dtor -Woverloaded-virtual -Wold-style-cast -Wcast-align
  -Wno-missing-field-initializers
  -ffp-contract=off
  $<$<BOOL:${FIRSTEDGE_WARNINGS_ARE_ERRORS}>:-Werror>)
if(FIRSTEDGE_SANITIZE)
  # Instrumented code makes GCC 12 see uninitialised members of std::optional that are not read.
  target_compile_options(firstedge_flags INTERFACE -fsanitize=${FIRSTEDGE_SANITIZE} -fno-sanitize-recover=all
    -Wno-maybe-uninitialized)
  target_link_options(firstedge_flags INTERFACE -fsanitize=${FIRSTEDGE_SANITIZE})
endif()

function(firstedge_own_target target)
  target_link_libraries(${target} PRIVATE $<BUILD_INTERFACE:firstedge_flags>)
endfunction()

# firstedge_room(NAME room [DEPENDS room...] [PUBLIC package...] [PRIVATE package...])
# A room is one static library, firstedge::<room>. DEPENDS lists the rooms it may include.
function(firstedge_room)
  cmake_parse_arguments(ROOM "" "NAME" "DEPENDS;PUBLIC;PRIVATE" ${ARGN})
  file(GLOB sources CONFIGURE_DEPENDS ${PROJECT_SOURCE_DIR}/lib/${ROOM_NAME}/*.cpp)
  set(target firstedge_${ROOM_NAME})
  if(sources)
    set(kind PUBLIC)
    add_library(${target} STATIC ${sources})
    firstedge_own_target(${target})
    target_link_libraries(${target} PRIVATE ${ROOM_PRIVATE})
  else()
    set(kind INTERFACE)
    add_library(${target} INTERFACE)
  endif()
  add_library(firstedge::${ROOM_NAME} ALIAS ${target})
  set_target_properties(${target} PROPERTIES EXPORT_NAME ${ROOM_NAME} POSITION_INDEPENDENT_CODE ON)
  target_compile_features(${target} ${kind} cxx_std_20)
  target_include_directories(${target} ${kind}
    $<BUILD_INTERFACE:${PROJECT_BINARY_DIR}/include> $<INSTALL_INTERFACE:${CMAKE_INSTALL_INCLUDEDIR}>)
  list(TRANSFORM ROOM_DEPENDS PREPEND firstedge_)
  target_link_libraries(${target} ${kind} ${ROOM_DEPENDS} ${ROOM_PUBLIC})
  set_property(GLOBAL APPEND PROPERTY FIRSTEDGE_ROOMS ${target})
endfunction()

# Tests spend their time in the library, which has its own flags: they are compiled quickly. In precompiled headers GCC 12
# takes its own <string> for code of ours and sees short strings overrun that are not.
add_library(firstedge_test_flags INTERFACE)
target_compile_options(firstedge_test_flags INTERFACE $<$<CONFIG:Release>:-O1> 
  -Wno-array-bounds -Wno-restrict -Wno-stringop-overflow)

# The headers that nearly every test includes, compiled once for all of them.
function(firstedge_test_headers target)
  file(CONFIGURE OUTPUT ${PROJECT_BINARY_DIR}/test_headers.cpp CONTENT "")
  add_library(${target} OBJECT ${PROJECT_BINARY_DIR}/test_headers.cpp)
  firstedge_own_target(${target})
  target_compile_features(${target} PRIVATE cxx_std_20)
  target_link_libraries(${target} PRIVATE firstedge_test_flags GTest::gmock)
  target_precompile_headers(${target} PRIVATE
    <algorithm> <cmath> <limits> <string> <vector> <gmock/gmock.h> <gtest/gtest.h>)
endfunction()

# firstedge_test(kind room [WHOLE] [LINK room-or-package...])
# All of tests/<kind>/<room>/*.cpp in one GoogleTest program <kind>_<room>, each case a CTest test with label <kind>;
# with WHOLE all cases are one CTest test, for programs whose cases share costly work. Under the sanitizers a process takes
# most of a second to start and end, so that there the cases of a program share a few. The target tests_<kind> builds all
# programs of a kind.
set(FIRSTEDGE_SANITIZED_SHARES 4)
function(firstedge_test kind room)
  cmake_parse_arguments(TEST "WHOLE" "" "LINK" ${ARGN})
  file(GLOB sources CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/${room}/*.cpp)
  if(NOT sources)
    return()
  endif()
  set(target ${kind}_${room})
  add_executable(${target} ${sources})
  firstedge_own_target(${target})
  target_compile_definitions(${target} PRIVATE
    FIRSTEDGE_SOURCE_DIR="${PROJECT_SOURCE_DIR}" FIRSTEDGE_BINARY_DIR="${PROJECT_BINARY_DIR}")
  target_link_libraries(${target} PRIVATE
    firstedge_test_flags firstedge_test_support ${TEST_LINK} GTest::gmock GTest::gtest_main)
  target_precompile_headers(${target} REUSE_FROM firstedge_test_precompiled)
  if(NOT TARGET tests_${kind})
    add_custom_target(tests_${kind})
  endif()
  add_dependencies(tests_${kind} ${target})
  set(properties LABELS ${kind})
  if(FIRSTEDGE_SANITIZE)
    list(APPEND properties
      ENVIRONMENT LSAN_OPTIONS=suppressions=${PROJECT_SOURCE_DIR}/tests/leaks-of-packages.txt:print_suppressions=0)
  endif()
  if(TEST_WHOLE)
    add_test(NAME ${kind}/${room} COMMAND ${target})
    set_tests_properties(${kind}/${room} PROPERTIES ${properties})
    return()
  endif()
  if(FIRSTEDGE_SANITIZE)
    foreach(share RANGE 1 ${FIRSTEDGE_SANITIZED_SHARES})
      math(EXPR index "${share} - 1")
      set(name ${kind}/${room}/${share}_of_${FIRSTEDGE_SANITIZED_SHARES})
      add_test(NAME ${name} COMMAND ${CMAKE_COMMAND} -E env
        GTEST_TOTAL_SHARDS=${FIRSTEDGE_SANITIZED_SHARES} GTEST_SHARD_INDEX=${index}
        $<TARGET_FILE:${target}> --gtest_brief=1 --gtest_filter=-*full_disk*)
      set_tests_properties(${name} PROPERTIES ${properties})
    endforeach()
    # These fork, which the leak sanitizer bears only where no threads ran before.
    set(alone TEST_FILTER *full_disk*)
  endif()
  include(GoogleTest)
  gtest_discover_tests(${target} TEST_PREFIX "${kind}/${room}/" ${alone} PROPERTIES ${properties} DISCOVERY_TIMEOUT 60)
endfunction()

# Apps spend their time in the library and in the headers of the option parser: they are compiled quickly.
function(firstedge_app_headers target)
  target_compile_options(${target} PRIVATE $<$<CONFIG:Release>:-O1>)
  target_precompile_headers(${target} PRIVATE <algorithm> <string> <vector> <CLI/CLI.hpp>)
endfunction()

# firstedge_app(verb [LINK room...]): apps/<verb>/*.cpp, installed as firstedge-<verb> with its manual page, which is made from
# its --help.
function(firstedge_app verb)
  cmake_parse_arguments(APP "" "" "LINK" ${ARGN})
  file(GLOB sources CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/${verb}/*.cpp)
  if(NOT sources)
    return()
  endif()
  set(target firstedge-${verb})
  add_executable(${target} ${sources})
  firstedge_own_target(${target})
  set_target_properties(${target} PROPERTIES RUNTIME_OUTPUT_DIRECTORY ${PROJECT_BINARY_DIR}/bin)
  target_link_libraries(${target} PRIVATE firstedge_app_common ${APP_LINK})
  target_compile_options(${target} PRIVATE $<$<CONFIG:Release>:-O1>)
  target_precompile_headers(${target} REUSE_FROM firstedge_app_common)
  install(TARGETS ${target} RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR})
  set(page ${PROJECT_BINARY_DIR}/man/${target}.1)
  add_custom_command(OUTPUT ${page} DEPENDS ${target} ${PROJECT_SOURCE_DIR}/cmake/manual-page
    COMMAND ${CMAKE_COMMAND} -E make_directory ${PROJECT_BINARY_DIR}/man
    COMMAND ${PROJECT_SOURCE_DIR}/cmake/manual-page $<TARGET_FILE:${target}> ${page} VERBATIM)
  add_custom_target(${target}-manual ALL DEPENDS ${page})
  install(FILES ${page} DESTINATION ${CMAKE_INSTALL_MANDIR}/man1)
endfunction()
