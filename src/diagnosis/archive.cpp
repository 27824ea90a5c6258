#include "archive.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/mman.h>
#include <unistd.h>
#include <zip.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <optional>

#include "gearhark/units/files.hpp"

namespace gearhark {
namespace {

constexpr std::uint64_t largest_file = std::uint64_t{2} << 30;
constexpr std::size_t most_entries = 500, longest_name = 64;
constexpr const char* again = "send it from the phone again";

std::string size_words(std::uint64_t bytes) {
  return bytes >= (1u << 20) ? fmt::format("{} MB", bytes >> 20) : fmt::format("{} kB", bytes >> 10);
}

// What a message can show of a name that anybody may have made up.
std::string shown(std::string_view name) {
  std::string out;
  for (const char c : name.substr(0, 80)) out += c >= 0x20 && c < 0x7f ? c : '?';
  return name.size() > 80 ? out + "..." : out;
}

bool plain(std::string_view name) {
  const auto fits = [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_' ||
           c == '-' || c == '.';
  };
  return !name.empty() && name.size() <= longest_name && name.front() != '.' &&
         std::all_of(name.begin(), name.end(), fits);
}

std::string small(std::string name) {
  for (char& c : name)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return name;
}

std::uint32_t number_at(std::string_view bytes, std::size_t at, std::size_t count) {
  std::uint32_t out = 0;
  for (std::size_t i = count; i-- > 0;) out = out << 8 | static_cast<unsigned char>(bytes[at + i]);
  return out;
}

// The last 64 kB and a bit, where the end record of a zip file can lie.
std::string tail_of(const std::string& path, std::uint64_t size) {
  constexpr std::uint64_t most = 65536 + 22 + 20;
  std::string tail(static_cast<std::size_t>(std::min(size, most)), '\0');
  std::ifstream file(path, std::ios::binary);
  file.seekg(static_cast<std::streamoff>(size - tail.size()));
  file.read(tail.data(), static_cast<std::streamsize>(tail.size()));
  tail.resize(static_cast<std::size_t>(file.gcount()));
  return tail;
}

// The library lists all that any end record states before it can be asked how many there are, at several
// times the memory: so this is looked at first.
std::string why_not_listed(const std::string& path, std::uint64_t size) {
  const std::string tail = tail_of(path, size);
  bool ends = false;
  for (auto at = tail.find("PK\5\6"); at != tail.npos && at + 22 <= tail.size();
       at = tail.find("PK\5\6", at + 1)) {
    const std::uint64_t listed = std::uint64_t{number_at(tail, at + 12, 4)} + number_at(tail, at + 16, 4);
    const bool large = at >= 20 && tail.compare(at - 20, 4, "PK\6\7") == 0;
    if (!large && listed > size) continue;
    if (large || number_at(tail, at + 10, 2) > most_entries)
      return fmt::format("holds more than {} entries, so it is no road-test bundle; check the name",
                         most_entries);
    ends = true;
  }
  if (ends) return "";
  return fmt::format("is no whole zip file (its end is missing); {}", again);
}

std::string why_not_read(const std::string& path) {
  std::error_code error;
  const auto status = std::filesystem::status(path, error);
  if (status.type() == std::filesystem::file_type::not_found)
    return "does not exist; check the name and the folder";
  if (!std::filesystem::is_regular_file(status)) return "is not a file; name a road-test bundle";
  const auto size = std::filesystem::file_size(path, error);
  if (error) return fmt::format("can't be reached ({}); check its permissions", error.message());
  if (size > largest_file)
    return fmt::format("is larger than {}, so it is no road-test bundle; check the name",
                       size_words(largest_file));
  return why_not_listed(path, size);
}

void discard(zip* archive) { zip_discard(archive); }

// A file without a name, on disk where there is a place for it.
int nameless_file() {
  std::error_code none;
  const auto folder = std::filesystem::temp_directory_path(none);
  const int file = none ? -1 : ::open(folder.c_str(), O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
  return file >= 0 ? file : ::memfd_create("gearhark", MFD_CLOEXEC);
}

}  // namespace

bool looks_like_archive(const std::string& path) {
  if (path.ends_with(".zip") || path.ends_with(".ZIP")) return true;
  std::array<char, 4> head{};
  // Pipes are read once only, so they are not looked into.
  std::error_code none;
  if (!std::filesystem::is_regular_file(path, none)) return false;
  std::ifstream(path, std::ios::binary).read(head.data(), head.size());
  const std::string_view start(head.data(), head.size());
  return start == "PK\3\4" || start == "PK\5\6";
}

Archive::Archive(std::string path, std::unique_ptr<zip, void (*)(zip*)> zip)
    : path_(std::move(path)), zip_(std::move(zip)) {}

Error Archive::about(std::string_view entry, const std::string& what) const {
  return {fmt::format("{}: the entry \"{}\" {}", path_, shown(entry), what)};
}

Result<Archive> Archive::open(const std::string& path) {
  if (const std::string why = why_not_read(path); !why.empty())
    return Error{fmt::format("{}: {}", path, why)};
  int failed = 0;
  Archive out(path, {zip_open(path.c_str(), ZIP_RDONLY, &failed), discard});
  if (!out.zip_) {
    zip_error_t error;
    zip_error_init_with_code(&error, failed);
    const std::string why = zip_error_strerror(&error);
    zip_error_fini(&error);
    return Error{fmt::format("{}: can't be read as a zip file ({}); {}", path, why, again)};
  }
  if (auto error = out.list()) return *error;
  return out;
}

std::optional<Error> Archive::list() {
  const auto count = zip_get_num_entries(zip_.get(), 0);
  for (zip_uint64_t i = 0; i < static_cast<zip_uint64_t>(std::max<zip_int64_t>(count, 0)); ++i) {
    const char* raw = zip_get_name(zip_.get(), i, ZIP_FL_ENC_RAW);
    const std::string name = raw ? raw : "";
    if (!plain(name))
      return about(name, "is no plain file name, and a bundle holds no folders, paths or links; " +
                             std::string(again));
    const auto alike = [&](const Entry& other) { return small(other.name) == small(name); };
    if (std::any_of(entries_.begin(), entries_.end(), alike))
      return about(name, "is there twice; " + std::string(again));
    zip_uint8_t made_on = 0;
    zip_uint32_t attributes = 0;
    zip_file_get_external_attributes(zip_.get(), i, 0, &made_on, &attributes);
    constexpr zip_uint32_t kind = 0170000, plain_file = 0100000;
    if (const auto found = attributes >> 16 & kind;
        made_on == ZIP_OPSYS_UNIX && found != 0 && found != plain_file)
      return about(name, "is a link or something else than a file; " + std::string(again));
    zip_stat_t facts;
    zip_stat_init(&facts);
    if (zip_stat_index(zip_.get(), i, 0, &facts) != 0)
      return about(name, "can't be read; " + std::string(again));
    if (facts.encryption_method != ZIP_EM_NONE) return about(name, "is encrypted; " + std::string(again));
    if (facts.comp_method != ZIP_CM_STORE && facts.comp_method != ZIP_CM_DEFLATE)
      return about(name, "is packed in a way that is not used here; " + std::string(again));
    entries_.push_back({name, i});
  }
  return std::nullopt;
}

const Archive::Entry* Archive::find(std::string_view name) const {
  const auto at =
      std::find_if(entries_.begin(), entries_.end(), [&](const Entry& e) { return e.name == name; });
  return at == entries_.end() ? nullptr : &*at;
}

std::optional<Error> Archive::read(const Entry& entry, std::uint64_t most, const Block& take) const {
  const std::unique_ptr<zip_file_t, int (*)(zip_file_t*)> file(zip_fopen_index(zip_.get(), entry.number, 0),
                                                               zip_fclose);
  if (!file)
    return about(entry.name, fmt::format("can't be opened ({}); {}", zip_strerror(zip_.get()), again));
  std::array<char, 65536> block;
  std::uint64_t taken = 0;
  for (;;) {
    const auto got = zip_fread(file.get(), block.data(), block.size());
    if (got == 0) return std::nullopt;
    if (got < 0)
      return about(entry.name, fmt::format("is damaged or cut off ({}); {}",
                                           zip_error_strerror(zip_file_get_error(file.get())), again));
    taken += static_cast<std::uint64_t>(got);
    if (taken > most)
      return about(entry.name,
                   fmt::format("is larger than the {} that it may have; {}", size_words(most), again));
    if (auto error = take({block.data(), static_cast<std::size_t>(got)})) return error;
  }
}

Result<std::string> Archive::text(const Entry& entry, std::uint64_t most) const {
  std::string out;
  const auto failed = read(entry, most, [&](std::string_view bytes) {
    out.append(bytes);
    return std::optional<Error>();
  });
  if (failed) return *failed;
  return out;
}

Result<std::shared_ptr<const std::string>> Archive::copy(const Entry& entry, std::uint64_t most) const {
  const auto no_room = [&] {
    return about(entry.name,
                 fmt::format("can't be unpacked ({}); make room in the folder for temporary files",
                             std::strerror(errno)));
  };
  const int file = nameless_file();
  if (file < 0) return no_room();
  const std::shared_ptr<const std::string> path(new std::string(fmt::format("/proc/self/fd/{}", file)),
                                                [file](const std::string* name) {
                                                  ::close(file);
                                                  delete name;
                                                });
  const auto failed = read(entry, most, [&](std::string_view bytes) {
    return write_all(file, bytes) == 0 ? std::optional<Error>() : std::optional<Error>(no_room());
  });
  if (failed) return *failed;
  return path;
}

}  // namespace gearhark
