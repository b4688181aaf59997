# embed_pages(TARGET): bundles engine/web/pages with esbuild and puts what comes of it into the program's read-only data,
# with a table of names that page_files.cc reads. The libraries of the pages are pinned in package-lock.json and come by
# npm into the build folder; npm needs its registry only when its cache has not got it.
function(embed_pages target)
  foreach(tool node npm esbuild)
    string(TOUPPER ${tool} upper)
    find_program(${upper}_PROGRAM ${tool})
    if(NOT ${upper}_PROGRAM)
      message(FATAL_ERROR "The pages are bundled by node, npm and esbuild, and ${tool} is missing. "
        "tests/install installs them.")
    endif()
  endforeach()
  set(sources ${CMAKE_CURRENT_SOURCE_DIR}/pages)
  set(work ${CMAKE_CURRENT_BINARY_DIR}/pages)
  file(MAKE_DIRECTORY ${work})
  file(GLOB_RECURSE inputs CONFIGURE_DEPENDS ${sources}/src/* ${sources}/static/*)
  list(APPEND inputs ${sources}/build.mjs ${sources}/tsconfig.json)

  add_custom_command(OUTPUT ${work}/node_modules/.package-lock.json
    COMMAND ${CMAKE_COMMAND} -E copy ${sources}/package.json ${sources}/package-lock.json ${work}
    COMMAND ${NPM_PROGRAM} ci --prefer-offline --ignore-scripts --no-audit --no-fund --loglevel=error
    COMMAND ${CMAKE_COMMAND} -E touch ${work}/node_modules/.package-lock.json
    DEPENDS ${sources}/package.json ${sources}/package-lock.json
    WORKING_DIRECTORY ${work} COMMENT "Fetching the library of the pages" VERBATIM)

  set(outputs)
  foreach(file index.html page.js page.css desk.html desk.js desk.css sheet.html sheet.js sheet.css worker.js manifest.webmanifest icon.svg)
    list(APPEND outputs ${work}/out/${file} ${work}/out/${file}.gz)
  endforeach()
  file(GLOB words CONFIGURE_DEPENDS ${PROJECT_SOURCE_DIR}/profiles/session/ValueSet-*.json)
  add_custom_command(OUTPUT ${outputs}
    COMMAND ${NODE_PROGRAM} ${sources}/build.mjs ${work} ${PROJECT_SOURCE_DIR}/profiles/session ${ESBUILD_PROGRAM}
    DEPENDS ${inputs} ${words} ${work}/node_modules/.package-lock.json
    COMMENT "Bundling the pages" VERBATIM)

  set(assembly "  .section .rodata\n")
  set(table "  .section .data.rel.ro, \"aw\"\n  .balign 8\n  .global chartferry_pages\nchartferry_pages:\n")
  set(count 0)
  foreach(path ${outputs})
    get_filename_component(name ${path} NAME)
    string(APPEND assembly ".Lname${count}:\n  .asciz \"${name}\"\n  .balign 16\n"
      ".Lbegin${count}:\n  .incbin \"${path}\"\n.Lend${count}:\n  .byte 0\n")
    string(APPEND table "  .quad .Lname${count}, .Lbegin${count}, .Lend${count}\n")
    math(EXPR count "${count} + 1")
  endforeach()
  string(APPEND table "  .balign 8\n  .global chartferry_pages_count\nchartferry_pages_count:\n  .quad ${count}\n")
  set(source ${CMAKE_CURRENT_BINARY_DIR}/pages_data.S)
  file(CONFIGURE OUTPUT ${source}
    CONTENT "${assembly}${table}  .section .note.GNU-stack, \"\", %progbits\n" @ONLY)
  set_source_files_properties(${source} PROPERTIES OBJECT_DEPENDS "${outputs}")
  target_sources(${target} PRIVATE ${source})
endfunction()
