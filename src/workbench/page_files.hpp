// The files of the page, put into the program when it is built (page/embed.cmake).
#pragma once

#include <span>
#include <string_view>

namespace gearhark::workbench {

struct PageFile {
  std::string_view name, text;
};
// "page.css" is the report page's.
std::span<const PageFile> page_files();
// The invented cars of models/, to start from.
std::span<const PageFile> example_cars();

}  // namespace gearhark::workbench
