# Makes a C++ source that holds text files as strings. -Dout=FILE -Dpages="A;B" -Dcars="C;D" -Dlist=FILE
set(source "// Made by embed.cmake.\n#include \"page_files.hpp\"\n\nnamespace gearhark::workbench {\nnamespace {\n")
foreach(kind pages cars)
  set(table "constexpr PageFile ${kind}[] = {\n")
  foreach(file ${${kind}})
    get_filename_component(name "${file}" NAME)
    file(READ "${file}" text)
    string(APPEND table "{\"${name}\", R\"gearhark(${text})gearhark\"},\n")
  endforeach()
  string(APPEND source "${table}};\n")
endforeach()
string(APPEND source "}  // namespace\n\nstd::span<const PageFile> page_files() { return pages; }\n"
  "std::span<const PageFile> example_cars() { return cars; }\n\n}  // namespace gearhark::workbench\n")
file(WRITE "${out}" "${source}")
