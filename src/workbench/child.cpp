#include "child.hpp"

#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstdlib>
#include <optional>

#include "confine.hpp"

namespace gearhark::workbench {
namespace {

using Clock = std::chrono::steady_clock;
constexpr std::size_t most_out = std::size_t{16} << 20, most_complaint = std::size_t{64} << 10;

// AddressSanitizer and ThreadSanitizer map terabytes that they never touch: no limit on address space can hold
// there.
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
constexpr bool limit_memory = false;
#elif defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
constexpr bool limit_memory = false;
#else
constexpr bool limit_memory = true;
#endif
#else
constexpr bool limit_memory = true;
#endif

struct Pipe {
  std::array<int, 2> ends{-1, -1};
  Pipe() {
    if (::pipe2(ends.data(), O_CLOEXEC) != 0) ends = {-1, -1};
  }
  ~Pipe() {
    close(0);
    close(1);
  }
  Pipe(const Pipe&) = delete;
  Pipe& operator=(const Pipe&) = delete;
  void close(std::size_t end) {
    if (ends[end] >= 0) ::close(ends[end]);
    ends[end] = -1;
  }
};

// Everything between fork and exec is made before: only calls that are safe there remain.
struct Prepared {
  std::vector<std::string> words, settings;
  std::vector<char*> argv, envp;

  explicit Prepared(const std::vector<std::string>& given) : words(given) {
    words.insert(words.begin(), "gearhark");
    for (const char* name :
         {"HOME", "XDG_DATA_HOME", "TMPDIR", "LD_LIBRARY_PATH", "ASAN_OPTIONS", "LSAN_OPTIONS"})
      if (const char* value = std::getenv(name)) settings.push_back(std::string(name) + "=" + value);
    for (auto& word : words) argv.push_back(word.data());
    for (auto& setting : settings) envp.push_back(setting.data());
    argv.push_back(nullptr);
    envp.push_back(nullptr);
  }
};

void limit(__rlimit_resource_t what, std::int64_t value) {
  const rlimit both{static_cast<rlim_t>(value), static_cast<rlim_t>(value)};
  ::setrlimit(what, &both);
}

[[noreturn]] void become(const Prepared& prepared, const std::string& folder, const ChildLimits& limits,
                         int out, int complaint) {
  ::setpgid(0, 0);
  ::prctl(PR_SET_PDEATHSIG, SIGKILL);
  ::prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0);
  sigset_t none;
  ::sigemptyset(&none);
  ::pthread_sigmask(SIG_SETMASK, &none, nullptr);
  const int nothing = ::open("/dev/null", O_RDONLY);
  ::dup2(nothing, 0);
  ::dup2(out, 1);
  ::dup2(complaint, 2);
  ::close_range(3, ~0U, 0);
  limit(RLIMIT_CORE, 0);
  limit(RLIMIT_NOFILE, 64);
  limit(RLIMIT_FSIZE, limits.file_size);
  limit(RLIMIT_CPU, 2 * limits.time.count());
  if (limit_memory) limit(RLIMIT_AS, limits.memory);
  if (limits.confined) confine(folder.c_str());
  if (::chdir(folder.c_str()) == 0) ::execve("/proc/self/exe", prepared.argv.data(), prepared.envp.data());
  ::_exit(127);
}

// Adds what can be read now; false: the end.
bool take(int from, std::string& into, std::size_t most) {
  std::array<char, 16384> bytes;
  const ssize_t got = ::read(from, bytes.data(), bytes.size());
  if (got < 0) return errno == EINTR || errno == EAGAIN;
  if (into.size() < most) into.append(bytes.data(), static_cast<std::size_t>(got));
  return got > 0;
}

void tell_lines(const std::string& text, std::size_t& told,
                const std::function<void(const std::string&)>& on_line) {
  for (std::size_t end; (end = text.find('\n', told)) != std::string::npos; told = end + 1)
    if (on_line) on_line(text.substr(told, end - told));
}

// Reads both pipes until they end; why it stopped before, if it did.
std::optional<ChildOutcome::Ending> follow(ChildOutcome& outcome, Pipe& out, Pipe& complaint,
                                           const ChildLimits& limits, const std::stop_token& stop,
                                           const std::function<void(const std::string&)>& on_line) {
  const auto until = Clock::now() + limits.time;
  std::size_t told = 0;
  while (out.ends[0] >= 0 || complaint.ends[0] >= 0) {
    if (stop.stop_requested()) return ChildOutcome::Ending::stopped;
    if (Clock::now() > until) return ChildOutcome::Ending::out_of_time;
    std::array<pollfd, 2> on{pollfd{out.ends[0], POLLIN, 0}, pollfd{complaint.ends[0], POLLIN, 0}};
    if (::poll(on.data(), on.size(), 50) <= 0) continue;
    if (on[0].revents && !take(out.ends[0], outcome.out, most_out)) out.close(0);
    if (on[1].revents && !take(complaint.ends[0], outcome.complaint, most_complaint)) complaint.close(0);
    tell_lines(outcome.complaint, told, on_line);
  }
  return std::nullopt;
}

std::string last_line(std::string text) {
  while (!text.empty() && text.back() == '\n') text.pop_back();
  const auto start = text.rfind('\n');
  return start == std::string::npos ? text : text.substr(start + 1);
}

}  // namespace

std::string ChildOutcome::sentence() const {
  if (ending == Ending::stopped) return "Stopped.";
  if (ending == Ending::out_of_time)
    return "This took too long and was given up; use a shorter part of the recording.";
  if (ending == Ending::not_started) return "This machine is too busy to start another program; try again.";
  const bool memory =
      complaint.find("bad_alloc") != std::string::npos || complaint.find("length_error") != std::string::npos;
  if (memory) return "This needs more memory than it may have; use a shorter part of the recording.";
  if (ending == Ending::killed)
    return "The program that read this was ended by the system; use a shorter part of the recording, or copy "
           "it from the phone again.";
  std::string said = last_line(complaint);
  if (said.starts_with("gearhark: ")) said.erase(0, 10);
  return said.empty() ? "It failed without saying why." : said;
}

ChildOutcome run_child(const std::vector<std::string>& words, const std::string& folder,
                       const ChildLimits& limits, const std::stop_token& stop,
                       const std::function<void(const std::string&)>& on_line) {
  ChildOutcome outcome;
  Pipe out, complaint;
  const Prepared prepared(words);
  if (out.ends[0] < 0 || complaint.ends[0] < 0) return outcome;
  const pid_t child = ::fork();
  if (child < 0) return outcome;
  if (child == 0) become(prepared, folder, limits, out.ends[1], complaint.ends[1]);
  out.close(1);
  complaint.close(1);
  const auto cut_short = follow(outcome, out, complaint, limits, stop, on_line);
  if (cut_short) {
    ::kill(-child, SIGKILL);
    ::kill(child, SIGKILL);
  }
  int status = 0;
  while (::waitpid(child, &status, 0) < 0 && errno == EINTR) {
  }
  outcome.code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  using Ending = ChildOutcome::Ending;
  outcome.ending = cut_short ? *cut_short : WIFEXITED(status) ? Ending::exited : Ending::killed;
  return outcome;
}

}  // namespace gearhark::workbench
