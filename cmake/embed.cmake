# SPDX-License-Identifier: Apache-2.0
# embed(MODULE NAME FILE): the bytes of FILE as `extern "C" const unsigned char NAME[]` with NAME_size,
# put there by the assembler, so that files of any size cost no time to compile.
# embed_folder(MODULE NAME FOLDER): every file of FOLDER, as one archive of the simplest kind: for each
# a line `PATH SIZE`, then its bytes. Empty where there is no such folder.


function(embed_bytes module name file)
  set(source ${CMAKE_BINARY_DIR}/embedded/${name}.S)
  file(GENERATE OUTPUT ${source} CONTENT "
  .section .rodata
  .global ${name}
  .global ${name}_size
  .balign 16
${name}:
  .incbin \"${file}\"
${name}_end:
  .balign 8
${name}_size:
  .quad ${name}_end - ${name}
  .section .note.GNU-stack,\"\",%progbits
")
  target_sources(${module} PRIVATE ${source})
  set_source_files_properties(${source} PROPERTIES GENERATED TRUE OBJECT_DEPENDS ${file}
                                                   SKIP_PRECOMPILE_HEADERS TRUE)
endfunction()

function(embed module name file)
  embed_bytes(${module} ${name} ${CMAKE_SOURCE_DIR}/${file})
endfunction()

function(embed_folder module name folder)
  set(archive ${CMAKE_BINARY_DIR}/embedded/${name}.archive)
  file(GLOB_RECURSE files CONFIGURE_DEPENDS ${CMAKE_SOURCE_DIR}/${folder}/*)
  add_custom_command(
    OUTPUT ${archive}
    COMMAND ${CMAKE_COMMAND} -DFOLDER=${CMAKE_SOURCE_DIR}/${folder} -DARCHIVE=${archive}
            -P ${CMAKE_SOURCE_DIR}/cmake/archive.cmake
    DEPENDS ${files} ${CMAKE_SOURCE_DIR}/cmake/archive.cmake)
  add_custom_target(${name}_archive DEPENDS ${archive})
  add_dependencies(${module} ${name}_archive)
  embed_bytes(${module} ${name} ${archive})
endfunction()
