# SPDX-License-Identifier: Apache-2.0
# What every target of ours is compiled with; dependencies come in as system includes.
set(CMAKE_CXX_STANDARD 20)
set(CMAKE_CXX_STANDARD_REQUIRED ON)
set(CMAKE_CXX_EXTENSIONS OFF)
set(CMAKE_RUNTIME_OUTPUT_DIRECTORY ${CMAKE_BINARY_DIR}/bin)
set(CMAKE_CXX_FLAGS_RELEASE "-O2 -DNDEBUG")

find_program(ccache_program ccache)
if(ccache_program)
  # A precompiled header is only cacheable when its time stamps and defines are let pass.
  set(CMAKE_CXX_COMPILER_LAUNCHER
      ${CMAKE_COMMAND} -E env CCACHE_BASEDIR=${CMAKE_SOURCE_DIR} CCACHE_NOHASHDIR=1
      CCACHE_SLOPPINESS=pch_defines,time_macros,include_file_mtime,include_file_ctime
      ${ccache_program})
endif()

add_library(compiler INTERFACE)
# Clang builds fuzzers only; its warnings are let pass.
target_compile_options(
  compiler INTERFACE -Wall -Wextra -Wpedantic -Wconversion -Wshadow -Wnon-virtual-dtor
                     -Wsuggest-override $<$<CXX_COMPILER_ID:GNU>:-Werror -fpch-preprocess>
                     # The same bits with every instruction set: no sums fused with products.
                     -ffp-contract=off
                     # g++ 12 raises false alarms inside std::string with these four (GCC 105329, 105651).
                     $<$<CXX_COMPILER_ID:GNU>:-Wno-array-bounds -Wno-restrict
                     -Wno-stringop-overflow -Wno-stringop-overread>)
target_compile_definitions(compiler INTERFACE $<$<NOT:$<CONFIG:Release>>:_GLIBCXX_ASSERTIONS>)
if(WINDWRIGHT_SANITIZE)
  # Of C++ alone: gcc assembles the built-in files and knows no option of clang's.
  target_compile_options(
    compiler
    INTERFACE
      $<$<COMPILE_LANGUAGE:CXX>:-fsanitize=${WINDWRIGHT_SANITIZE};-fno-omit-frame-pointer;-fno-sanitize-recover=all>)
  target_link_options(compiler INTERFACE -fsanitize=${WINDWRIGHT_SANITIZE})
endif()

# Compiled once for all modules; carries no definitions but fmt's, which every module has.
find_package(fmt REQUIRED)
set(common_headers <algorithm> <chrono> <cmath> <cstdint> <filesystem> <functional> <map> <memory>
                   <numbers> <optional> <span> <string> <string_view> <utility> <vector>
                   <fmt/format.h>)
file(WRITE ${CMAKE_BINARY_DIR}/precompiled.cpp "")
add_library(precompiled OBJECT ${CMAKE_BINARY_DIR}/precompiled.cpp)
target_link_libraries(precompiled PRIVATE compiler fmt::fmt)
target_precompile_headers(precompiled PRIVATE ${common_headers})
