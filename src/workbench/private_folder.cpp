#include "private_folder.hpp"

#include <stdlib.h>

#include <cerrno>

namespace gearhark::workbench {

PrivateFolder::PrivateFolder() {
  std::string name = (std::filesystem::temp_directory_path() / "gearhark_workbench_XXXXXX").string();
  // mkdtemp makes it for the user alone (mode 0700).
  if (!::mkdtemp(name.data()))
    throw std::filesystem::filesystem_error("no folder can be made", name,
                                            std::error_code(errno, std::generic_category()));
  path_ = name;
}

PrivateFolder::~PrivateFolder() {
  std::error_code ignored;
  std::filesystem::remove_all(path_, ignored);
}

}  // namespace gearhark::workbench
