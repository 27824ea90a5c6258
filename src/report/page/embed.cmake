# Makes a C++ source that holds the page's text files as strings; CMakeLists.txt gives the place of each.
set(source "// Made by embed.cmake.\n#include \"page_parts.hpp\"\n\nnamespace gearhark::report {\n\n")
foreach(name page_css page_js chart_css chart_js chart_licence)
  file(READ "${${name}}" text)
  if(text MATCHES "</script|</style|\\)gearhark\"")
    message(FATAL_ERROR "${${name}} holds an end tag and can't be put into a page")
  endif()
  # The chart library's map of its own source is not at hand where the page is read.
  string(REGEX REPLACE "\n//# sourceMappingURL=[^\n]*" "" text "${text}")
  string(REGEX REPLACE "\n/[*]# sourceMappingURL=[^\n]*" "" text "${text}")
  string(APPEND source "const std::string_view ${name} = R\"gearhark(${text})gearhark\";\n")
endforeach()
file(WRITE "${out}" "${source}\n}  // namespace gearhark::report\n")
