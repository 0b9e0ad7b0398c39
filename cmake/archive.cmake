# SPDX-License-Identifier: Apache-2.0
# Puts the files of FOLDER one after the other into ARCHIVE: `PATH SIZE\\n`, then the bytes.
file(GLOB_RECURSE files RELATIVE ${FOLDER} ${FOLDER}/*)
list(SORT files)
file(WRITE ${ARCHIVE} "")
foreach(file ${files})
  file(SIZE ${FOLDER}/${file} size)
  file(APPEND ${ARCHIVE} "${file} ${size}\n")
  execute_process(COMMAND cat ${FOLDER}/${file} OUTPUT_FILE ${ARCHIVE}.part)
  execute_process(COMMAND sh -c "cat '${ARCHIVE}.part' >> '${ARCHIVE}'")
endforeach()
file(REMOVE ${ARCHIVE}.part)
