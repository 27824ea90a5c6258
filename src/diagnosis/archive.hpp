// The zip file of a road-test bundle. Whoever made it is not trusted: names never reach the file system,
// sizes that it states are believed by nobody, and what is read is bounded.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gearhark/units/result.hpp"

struct zip;

namespace gearhark {

class Archive {
 public:
  struct Entry {
    std::string name;      // letters, digits, '_', '-' and '.' alone; no two alike, whatever the case
    std::uint64_t number;  // place in the archive
  };

  // Errors: not a file, not a zip file, cut off, over 2 GB, more than 500 entries, an entry whose name is a
  // path, that is a link, that is there twice, encrypted, or packed in another way than stored or deflated.
  static Result<Archive> open(const std::string& path);

  [[nodiscard]] const std::vector<Entry>& entries() const { return entries_; }
  [[nodiscard]] const Entry* find(std::string_view name) const;

  // All of an entry. Errors: more than `most` bytes, damaged.
  [[nodiscard]] Result<std::string> text(const Entry& entry, std::uint64_t most) const;
  // The path of a copy of an entry, in a file that has no name anywhere and is gone with the last who holds
  // the path, whatever ends the program. Errors: as above; no room for it.
  [[nodiscard]] Result<std::shared_ptr<const std::string>> copy(const Entry& entry, std::uint64_t most) const;

  // "FILE: the entry "NAME" ..."
  [[nodiscard]] Error about(std::string_view entry, const std::string& what) const;

 private:
  using Block = std::function<std::optional<Error>(std::string_view)>;
  explicit Archive(std::string path, std::unique_ptr<zip, void (*)(zip*)> zip);
  [[nodiscard]] std::optional<Error> list();
  [[nodiscard]] std::optional<Error> read(const Entry& entry, std::uint64_t most, const Block& take) const;

  std::string path_;
  std::unique_ptr<zip, void (*)(zip*)> zip_;
  std::vector<Entry> entries_;
};

// Whether a file begins as a zip file does, or is named like one.
bool looks_like_archive(const std::string& path);

}  // namespace gearhark
