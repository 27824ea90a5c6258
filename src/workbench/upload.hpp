// A recording on its way to disk.
#pragma once

#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <optional>
#include <string>

#include "answer.hpp"

namespace gearhark::workbench {

// A file that is being received. Gone unless it is handed back with `keep`.
class Upload {
 public:
  Upload(std::filesystem::path file, std::int64_t largest);
  ~Upload();
  Upload(const Upload&) = delete;
  Upload& operator=(const Upload&) = delete;
  // Nothing: go on. Else why not: not sound, too large, disk full.
  std::optional<Answer> write(const char* bytes, std::size_t count);
  std::optional<Answer> finish();
  // Whether it begins as a phone's road test does, and not as a sound.
  [[nodiscard]] bool bundle() const;
  [[nodiscard]] std::int64_t bytes() const { return bytes_; }
  [[nodiscard]] const std::filesystem::path& file() const { return file_; }
  void keep() { kept_ = true; }

 private:
  std::filesystem::path file_;
  std::FILE* out_;
  std::int64_t largest_, bytes_ = 0;
  std::string head_;
  bool kept_ = false;
};

}  // namespace gearhark::workbench
