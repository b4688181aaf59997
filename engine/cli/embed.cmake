# embed_folders(TARGET FOLDER ...): puts the files below each top-level folder into the program's
# read-only data, with a table of names that embedded.cc reads.
function(embed_folders target)
  set(assembly "  .section .rodata\n")
  set(tables "  .section .data.rel.ro, \"aw\"\n")
  set(all_files "")
  set(number 0)
  foreach(folder ${ARGN})
    file(GLOB_RECURSE files CONFIGURE_DEPENDS RELATIVE ${PROJECT_SOURCE_DIR}/${folder}
      ${PROJECT_SOURCE_DIR}/${folder}/*)
    list(SORT files)
    set(count 0)
    string(APPEND tables "  .balign 8\n  .global chartferry_embedded_${folder}\n"
      "chartferry_embedded_${folder}:\n")
    foreach(file ${files})
      if(file MATCHES "(^|/)\\." OR file MATCHES "\\.md$")
        continue()
      endif()
      set(path ${PROJECT_SOURCE_DIR}/${folder}/${file})
      string(APPEND assembly ".Lname${number}:\n  .asciz \"${file}\"\n  .balign 16\n"
        ".Lbegin${number}:\n  .incbin \"${path}\"\n.Lend${number}:\n  .byte 0\n")
      string(APPEND tables "  .quad .Lname${number}, .Lbegin${number}, .Lend${number}\n")
      list(APPEND all_files ${path})
      math(EXPR number "${number} + 1")
      math(EXPR count "${count} + 1")
    endforeach()
    string(APPEND tables "  .balign 8\n  .global chartferry_embedded_${folder}_count\n"
      "chartferry_embedded_${folder}_count:\n  .quad ${count}\n")
  endforeach()
  set(source ${CMAKE_CURRENT_BINARY_DIR}/embedded_data.S)
  file(CONFIGURE OUTPUT ${source}
    CONTENT "${assembly}${tables}  .section .note.GNU-stack, \"\", %progbits\n" @ONLY)
  set_source_files_properties(${source} PROPERTIES OBJECT_DEPENDS "${all_files}")
  target_sources(${target} PRIVATE ${source})
endfunction()
