# Text files made part of a library, so that an installed library looks for no file when it runs.
#
# firstedge_embed(target FUNCTION name FILES file...): adds to target the function `std::string_view firstedge::name()`
# that gives the files, one after the other. As a script (cmake -P) this file writes the source of that function.
if(CMAKE_SCRIPT_MODE_FILE)
  set(text "")
  foreach(file IN LISTS FILES)
    file(READ "${file}" content)
    string(APPEND text "${content}")
  endforeach()
  # A raw string ends at its own mark, which must not stand in the text.
  set(mark "firstedge_text")
  string(FIND "${text}" ")${mark}\"" found)
  if(NOT found EQUAL -1)
    message(FATAL_ERROR "${FILES}: holds the mark of the raw string it is to be put in")
  endif()
  file(WRITE "${OUTPUT}" "// Written by cmake/FirstedgeEmbed.cmake.
#include <string_view>

namespace firstedge {

std::string_view ${FUNCTION}();

std::string_view ${FUNCTION}() {
  static constexpr char text[] = R\"${mark}(${text})${mark}\";
  return {text, sizeof text - 1};
}

}  // namespace firstedge
")
  return()
endif()

set(FIRSTEDGE_EMBED_SCRIPT ${CMAKE_CURRENT_LIST_FILE})

function(firstedge_embed target)
  cmake_parse_arguments(EMBED "" "FUNCTION" "FILES" ${ARGN})
  set(output ${PROJECT_BINARY_DIR}/embedded/${EMBED_FUNCTION}.cpp)
  add_custom_command(OUTPUT ${output}
    COMMAND ${CMAKE_COMMAND} -D FUNCTION=${EMBED_FUNCTION} -D "FILES=${EMBED_FILES}" -D OUTPUT=${output}
      -P ${FIRSTEDGE_EMBED_SCRIPT}
    DEPENDS ${EMBED_FILES} ${FIRSTEDGE_EMBED_SCRIPT}
    VERBATIM COMMENT "Embedding ${EMBED_FUNCTION}")
  target_sources(${target} PRIVATE ${output})
endfunction()
