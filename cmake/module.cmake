# SPDX-License-Identifier: Apache-2.0
# module(NAME DEPENDS ... USES ...): the library of src/NAME. It sees only its own headers and those
# of the modules it names, and may name only modules declared before it; anything else does not
# configure or does not compile.
function(module_settings name)
  cmake_parse_arguments(M "" "" "DEPENDS;USES" ${ARGN})
  foreach(dependency ${M_DEPENDS})
    if(NOT TARGET ${dependency})
      message(FATAL_ERROR "${name} may not depend on ${dependency}: it is declared later "
                          "(CMakeLists.txt lists the modules in order)")
    endif()
  endforeach()
  set(view ${CMAKE_BINARY_DIR}/include/${name})
  file(MAKE_DIRECTORY ${view})
  file(CREATE_LINK ${CMAKE_SOURCE_DIR}/src/${name} ${view}/${name} SYMBOLIC)
  target_include_directories(${name} PUBLIC ${view})
  target_link_libraries(${name} PUBLIC ${M_DEPENDS} fmt::fmt PRIVATE compiler ${M_USES})
endfunction()

function(module name)
  file(GLOB sources CONFIGURE_DEPENDS ${CMAKE_SOURCE_DIR}/src/${name}/*.cpp)
  add_library(${name} STATIC ${sources})
  module_settings(${name} ${ARGN})
  target_precompile_headers(${name} REUSE_FROM precompiled)
endfunction()

# program(NAME EXECUTABLE ...): src/NAME as a library, so that tests can call it, and its main.cpp
# as an executable. Compiled unoptimised: it only parses options and prints.
function(program name executable)
  file(GLOB sources CONFIGURE_DEPENDS ${CMAKE_SOURCE_DIR}/src/${name}/*.cpp)
  list(FILTER sources EXCLUDE REGEX "/main\\.cpp$")
  add_library(${name} STATIC ${sources})
  module_settings(${name} ${ARGN})
  target_compile_options(${name} PRIVATE $<$<CONFIG:Release>:-O0>)
  target_compile_definitions(${name} PRIVATE WINDWRIGHT_VERSION="${PROJECT_VERSION}")
  target_precompile_headers(${name} PRIVATE ${common_headers} <CLI/CLI.hpp>)
  add_executable(${executable} ${CMAKE_SOURCE_DIR}/src/${name}/main.cpp)
  target_link_libraries(${executable} PRIVATE ${name} compiler)
endfunction()
