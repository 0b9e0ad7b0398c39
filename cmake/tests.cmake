# SPDX-License-Identifier: Apache-2.0
# tests(FOLDER DEPENDS ...): every *_test.cpp of this folder. The label is `unit`, `property` for
# *_property_test.cpp, or the one given with LABEL.
include(GoogleTest)
function(tests folder)
  cmake_parse_arguments(T "" "LABEL" "DEPENDS;USES" ${ARGN})
  if(NOT T_LABEL)
    set(T_LABEL unit)
  endif()
  file(GLOB all CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/${folder}/*_test.cpp)
  file(GLOB shared CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/${folder}/*.cpp)
  list(REMOVE_ITEM shared ${all} "")
  set(property ${all})
  list(FILTER property INCLUDE REGEX "_property_test\\.cpp$")
  list(FILTER all EXCLUDE REGEX "_property_test\\.cpp$")
  if(all)
    list(APPEND all ${shared})
  endif()
  test_program(${folder}_tests ${T_LABEL} "${all}" "${T_DEPENDS}" "${T_USES}")
  test_program(${folder}_property_tests property "${property}" "${T_DEPENDS}" "${T_USES}")
endfunction()

function(test_program name label sources depends uses)
  if(NOT sources)
    return()
  endif()
  add_executable(${name} ${sources})
  target_link_libraries(${name} PRIVATE ${depends} ${uses} compiler GTest::gtest_main rapidcheck)
  target_include_directories(${name} PRIVATE ${CMAKE_CURRENT_SOURCE_DIR})
  target_compile_definitions(
    ${name} PRIVATE SOURCE_FOLDER="${CMAKE_SOURCE_DIR}" BUILD_FOLDER="${CMAKE_BINARY_DIR}"
                    PROGRAM="${CMAKE_BINARY_DIR}/bin/windwright")
  set_target_properties(${name} PROPERTIES RUNTIME_OUTPUT_DIRECTORY ${CMAKE_BINARY_DIR}/tests)
  target_precompile_headers(${name} PRIVATE ${common_headers} <gtest/gtest.h>)
  # The seed is fixed: property tests draw the same cases in every run.
  gtest_discover_tests(${name} PROPERTIES LABELS ${label} TIMEOUT 1500 ENVIRONMENT RC_PARAMS=seed=2026
                               DISCOVERY_TIMEOUT 60)
endfunction()
