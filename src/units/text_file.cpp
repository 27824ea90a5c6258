#include "gearhark/units/text_file.hpp"

#include <fmt/format.h>

#include <array>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <memory>

namespace gearhark {
namespace {

constexpr std::size_t longest = std::size_t{256} << 20;

Error refused(const std::string& path, std::string_view what, std::string_view why) {
  return {fmt::format("{}: {} {}", path, what, why)};
}

}  // namespace

Result<std::string> text_of_file(const std::string& path, std::string_view what) {
  std::error_code none;
  if (std::filesystem::is_directory(path, none))
    return refused(path, what, "can't be read (it is a folder); check the name");
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> file(std::fopen(path.c_str(), "rb"), std::fclose);
  if (!file)
    return refused(path, what, fmt::format("can't be read ({}); check the name", std::strerror(errno)));
  std::string text;
  std::array<char, 65536> block{};
  while (const std::size_t got = std::fread(block.data(), 1, block.size(), file.get())) {
    text.append(block.data(), got);
    if (text.size() > longest)
      return refused(path, what, "is longer than 256 MB, so it is something else; check the name");
  }
  if (std::ferror(file.get()))
    return refused(path, what,
                   fmt::format("can't be read to its end ({}); copy it again", std::strerror(errno)));
  return text;
}

}  // namespace gearhark
