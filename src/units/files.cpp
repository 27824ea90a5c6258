#include "gearhark/units/files.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <csignal>
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

// 0 or what went wrong; then the file is gone again.
int write_new(const std::string& path, std::string_view bytes) {
  const int file = ::open(path.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
  if (file < 0) return errno;
  int failed = write_all(file, bytes);
  if (!failed && ::fsync(file) != 0) failed = errno;
  if (::close(file) != 0 && !failed) failed = errno;
  if (failed) ::unlink(path.c_str());
  return failed;
}

int write_to_device(const std::string& path, std::string_view bytes) {
  const int file = ::open(path.c_str(), O_WRONLY | O_CLOEXEC);
  if (file < 0) return errno;
  const int failed = write_all(file, bytes);
  ::close(file);
  return failed;
}

// Ctrl-C waits until a file is whole, so that not even a part of it is left beside its target.
class Undisturbed {
 public:
  Undisturbed() {
    sigset_t held;
    ::sigemptyset(&held);
    for (const int signal : {SIGINT, SIGTERM, SIGHUP}) ::sigaddset(&held, signal);
    ::pthread_sigmask(SIG_BLOCK, &held, &before_);
  }
  ~Undisturbed() { ::pthread_sigmask(SIG_SETMASK, &before_, nullptr); }
  Undisturbed(const Undisturbed&) = delete;
  Undisturbed& operator=(const Undisturbed&) = delete;

 private:
  sigset_t before_{};
};

int replace(const std::string& path, std::string_view bytes) {
  const Undisturbed undisturbed;
  const std::string beside = fmt::format("{}.{}.part", path, ::getpid());
  if (const int failed = write_new(beside, bytes)) return failed;
  if (std::rename(beside.c_str(), path.c_str()) == 0) return 0;
  const int failed = errno;
  ::unlink(beside.c_str());
  return failed;
}

}  // namespace

int write_all(int file, std::string_view bytes) {
  while (!bytes.empty()) {
    const auto wrote = ::write(file, bytes.data(), bytes.size());
    if (wrote < 0 && errno == EINTR) continue;
    if (wrote < 0) return errno;
    bytes.remove_prefix(static_cast<std::size_t>(wrote));
  }
  return 0;
}

std::optional<Error> write_file(const std::string& path, std::string_view bytes) {
  std::error_code none;
  const auto kind = std::filesystem::status(path, none).type();
  const bool device = kind == std::filesystem::file_type::character ||
                      kind == std::filesystem::file_type::fifo ||
                      kind == std::filesystem::file_type::socket || kind == std::filesystem::file_type::block;
  // Through a link the file that it points to is replaced, not the link.
  const auto target = std::filesystem::canonical(path, none);
  const int failed = device ? write_to_device(path, bytes) : replace(none ? path : target.string(), bytes);
  if (!failed) return std::nullopt;
  return Error{
      fmt::format("{} can't be written ({}); name a file in a folder that exists, may be written to and "
                  "has room",
                  path, std::strerror(failed))};
}

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
