#include "answers.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <utility>

#include "gearhark/report/batch.hpp"
#include "gearhark/units/files.hpp"

namespace gearhark::cli {

Answers::Answers(Answers&& other) noexcept
    : path_(std::move(other.path_)),
      file_(std::exchange(other.file_, -1)),
      answered_(std::move(other.answered_)) {}

Answers::~Answers() {
  if (file_ > STDERR_FILENO) ::close(file_);
}

Result<Answers> Answers::go_on(const std::string& path) {
  const int file = ::open(path.c_str(), O_RDWR | O_CREAT | O_APPEND | O_CLOEXEC, 0666);
  if (file < 0)
    return Error{
        fmt::format("{} can't be written ({}); name a file in a folder that exists and may be written to",
                    path, std::strerror(errno))};
  Answers out(path, file);
  if (::flock(file, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK)
    return Error{fmt::format("{}: another batch is writing to it; wait for it or name another file", path)};
  if (auto error = out.take_stock()) return *error;
  return out;
}

Outcome Answers::take_stock() {
  struct stat about {};
  if (::fstat(file_, &about) != 0 || !S_ISREG(about.st_mode)) return std::nullopt;  // a pipe holds no answers
  const auto text = text_of_file(path_, "the file of answers");
  if (!text) return text.error();
  std::size_t at = 0, number = 1;
  for (auto end = text->find('\n'); end != std::string::npos; end = text->find('\n', at), ++number) {
    const auto name = case_answered(std::string_view(*text).substr(at, end - at));
    if (!name)
      return Error{fmt::format(
          "{}:{}: this line is no answer of a batch, so nothing is written to the file; name another", path_,
          number)};
    answered_.insert(*name);
    at = end + 1;
  }
  // What is left was being written when the program was stopped. A foreign file without a line's end stays
  // whole.
  if (at == text->size()) return std::nullopt;
  if (!std::string_view(*text).substr(at).starts_with(R"({"format":"gearhark answer")") &&
      std::string_view(R"({"format":"gearhark answer")").find(std::string_view(*text).substr(at)) != 0)
    return Error{fmt::format(
        "{}:{}: this line is no answer of a batch, so nothing is written to the file; name another", path_,
        number)};
  if (::ftruncate(file_, static_cast<off_t>(at)) == 0) return std::nullopt;
  return Error{fmt::format("{} can't be written ({}); free some disk space or name another file", path_,
                           std::strerror(errno))};
}

Outcome Answers::add(const std::string& line) {
  struct stat before {};
  const bool regular = ::fstat(file_, &before) == 0 && S_ISREG(before.st_mode);
  for (std::size_t done = 0; done < line.size();) {
    const auto wrote = ::write(file_, line.data() + done, line.size() - done);
    if (wrote < 0 && errno == EINTR) continue;
    if (wrote <= 0) {
      const int why = errno;
      if (regular && ::ftruncate(file_, before.st_size) != 0) {
        // The next batch takes the torn line away.
      }
      return Error{fmt::format(
          "{} can't be written ({}); the answers before are whole: make room, then go on from there", path_,
          std::strerror(why))};
    }
    done += static_cast<std::size_t>(wrote);
  }
  return std::nullopt;
}

}  // namespace gearhark::cli
