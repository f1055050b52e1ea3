# Headers, libraries and the CMake package: find_package(firstedge) then link firstedge::firstedge or one room.
include(CMakePackageConfigHelpers)

get_property(rooms GLOBAL PROPERTY FIRSTEDGE_ROOMS)
install(TARGETS ${rooms} firstedge_all EXPORT firstedgeTargets ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR})
install(DIRECTORY ${PROJECT_SOURCE_DIR}/lib/ DESTINATION ${CMAKE_INSTALL_INCLUDEDIR}/firstedge
  FILES_MATCHING PATTERN "*.hpp")
install(EXPORT firstedgeTargets NAMESPACE firstedge:: DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/firstedge)
configure_package_config_file(${PROJECT_SOURCE_DIR}/cmake/firstedgeConfig.cmake.in
  ${PROJECT_BINARY_DIR}/firstedgeConfig.cmake INSTALL_DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/firstedge)
write_basic_package_version_file(${PROJECT_BINARY_DIR}/firstedgeConfigVersion.cmake COMPATIBILITY SameMinorVersion)
install(FILES ${PROJECT_BINARY_DIR}/firstedgeConfig.cmake ${PROJECT_BINARY_DIR}/firstedgeConfigVersion.cmake
  DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/firstedge)
install(FILES ${PROJECT_SOURCE_DIR}/LICENSE ${PROJECT_SOURCE_DIR}/README.md DESTINATION ${CMAKE_INSTALL_DOCDIR})
