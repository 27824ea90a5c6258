// A folder of the server's own in the temporary one, for its user alone, gone with the value.
#pragma once

#include <filesystem>
#include <string>

#include "gearhark/units/result.hpp"

namespace gearhark::workbench {

class PrivateFolder {
 public:
  PrivateFolder();  // throws std::filesystem::filesystem_error
  ~PrivateFolder();
  PrivateFolder(const PrivateFolder&) = delete;
  PrivateFolder& operator=(const PrivateFolder&) = delete;
  [[nodiscard]] std::filesystem::path operator/(const std::string& name) const { return path_ / name; }
  [[nodiscard]] const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

}  // namespace gearhark::workbench
