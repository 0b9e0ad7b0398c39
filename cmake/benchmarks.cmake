# SPDX-License-Identifier: Apache-2.0
# benchmark_program(NAME DEPENDS ... USES ... SOURCES ...): NAME_benchmark.cpp, one hot path with its
# peer or limit.
function(benchmark_program name)
  cmake_parse_arguments(B "" "" "DEPENDS;USES;SOURCES" ${ARGN})
  add_executable(${name}_benchmark ${name}_benchmark.cpp ${B_SOURCES})
  target_include_directories(${name}_benchmark PRIVATE ${CMAKE_CURRENT_SOURCE_DIR})
  target_link_libraries(${name}_benchmark PRIVATE ${B_DEPENDS} ${B_USES} compiler
                                                  benchmark::benchmark_main)
  target_compile_definitions(${name}_benchmark PRIVATE SOURCE_FOLDER="${CMAKE_SOURCE_DIR}")
  set_target_properties(${name}_benchmark PROPERTIES RUNTIME_OUTPUT_DIRECTORY
                                                     ${CMAKE_BINARY_DIR}/benchmarks)
endfunction()
