#include "workers.hpp"

#include <fmt/format.h>
#include <poll.h>
#include <sched.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstring>
#include <new>
#include <vector>

namespace gearhark::cli {
namespace {

using Clock = std::chrono::steady_clock;

struct Worker {
  std::size_t task = 0;
  pid_t process = -1;
  int from = -1;
  std::string text;
  Clock::time_point until = Clock::time_point::max();
};

bool write_all(int to, const std::string& text) {
  for (std::size_t done = 0; done < text.size();) {
    const auto wrote = ::write(to, text.data() + done, text.size() - done);
    if (wrote < 0 && errno == EINTR) continue;
    if (wrote <= 0) return false;
    done += static_cast<std::size_t>(wrote);
  }
  return true;
}

// In the child; never returns.
[[noreturn]] void work_and_leave(int to, std::size_t task, pid_t parent,
                                 const std::function<std::string(std::size_t)>& work) {
  ::prctl(PR_SET_PDEATHSIG, SIGKILL);
  std::set_new_handler([] { ::_exit(ENOMEM); });
  if (::getppid() != parent) ::_exit(1);
  try {
    const bool sent = write_all(to, work(task));
    ::_exit(sent ? 0 : 1);
  } catch (...) {
    ::_exit(1);
  }
}

// False: no process can be started now.
bool start(Worker& worker, const std::function<std::string(std::size_t)>& work) {
  std::array<int, 2> ends{};
  if (::pipe(ends.data()) != 0) return false;
  const pid_t parent = ::getpid();
  worker.process = ::fork();
  if (worker.process == 0) {
    ::close(ends[0]);
    work_and_leave(ends[1], worker.task, parent, work);
  }
  ::close(ends[1]);
  worker.from = ends[0];
  if (worker.process > 0) return true;
  ::close(ends[0]);
  return false;
}

// False: nothing more comes.
bool take(Worker& worker) {
  std::array<char, 65536> block{};
  const auto got = ::read(worker.from, block.data(), block.size());
  if (got < 0 && errno == EINTR) return true;
  if (got > 0) worker.text.append(block.data(), static_cast<std::size_t>(got));
  return got > 0;
}

std::string trouble_of(int status) {
  if (WIFEXITED(status) && WEXITSTATUS(status) == 0) return "";
  if (WIFEXITED(status) && WEXITSTATUS(status) == ENOMEM) return "it needs more memory than there is";
  if (WIFSIGNALED(status))
    return fmt::format("the program was stopped while at it ({})", ::strsignal(WTERMSIG(status)));
  return "the program stopped by an error of its own";
}

std::string finish(Worker& worker) {
  ::close(worker.from);
  int status = 0;
  while (::waitpid(worker.process, &status, 0) < 0 && errno == EINTR) {
  }
  return trouble_of(status);
}

void stop(std::vector<Worker>& running) {
  for (Worker& worker : running) ::kill(worker.process, SIGKILL);
  for (Worker& worker : running) finish(worker);
}

// For poll: milliseconds to a moment, rounded up; -1: for ever.
int time_to(Clock::time_point moment) {
  if (moment == Clock::time_point::max()) return -1;
  const auto left = std::chrono::ceil<std::chrono::milliseconds>(moment - Clock::now()).count();
  return static_cast<int>(std::clamp<long>(left, 0, 60'000));
}

// Waits until some worker has something to say or is out of time.
std::vector<pollfd> wait_for(const std::vector<Worker>& running) {
  std::vector<pollfd> ends;
  auto soonest = Clock::time_point::max();
  for (const Worker& worker : running) {
    ends.push_back({worker.from, POLLIN, 0});
    soonest = std::min(soonest, worker.until);
  }
  if (::poll(ends.data(), ends.size(), time_to(soonest)) <= 0)
    for (pollfd& end : ends) end.revents = 0;
  return ends;
}

// A process that hangs on a disk or network that does not answer is not gone at once: it is not waited for.
std::string give_up(Worker& worker, std::chrono::seconds limit) {
  ::kill(worker.process, SIGKILL);
  ::close(worker.from);
  ::waitpid(worker.process, nullptr, WNOHANG);
  return fmt::format("it took longer than {} s and was stopped", limit.count());
}

}  // namespace

std::size_t cores_allowed() {
  cpu_set_t set;
  const bool known = ::sched_getaffinity(0, sizeof set, &set) == 0;
  return static_cast<std::size_t>(std::max(1, known ? CPU_COUNT(&set) : 1));
}

Outcome run_apart(std::size_t count, WorkLimits limits, const std::function<std::string(std::size_t)>& work,
                  const std::function<Outcome(std::size_t, const std::string&, const std::string&)>& done) {
  std::vector<Worker> running;
  std::size_t next = 0;
  while (next < count || !running.empty()) {
    while (next < count && running.size() < limits.jobs) {
      Worker fresh;
      fresh.task = next;
      if (!start(fresh, work)) {
        if (running.empty())
          return Error{
              fmt::format("no process can be started ({}); close other programs", std::strerror(errno))};
        break;
      }
      if (limits.each.count() > 0) fresh.until = Clock::now() + limits.each;
      running.push_back(fresh);
      ++next;
    }
    const auto ends = wait_for(running);
    for (std::size_t i = ends.size(); i-- > 0;) {
      const bool ended = ends[i].revents != 0 && !take(running[i]);
      if (!ended && Clock::now() < running[i].until) continue;
      const Worker ready = running[i];
      const std::string trouble = ended ? finish(running[i]) : give_up(running[i], limits.each);
      running.erase(running.begin() + static_cast<std::ptrdiff_t>(i));
      if (auto error = done(ready.task, ready.text, trouble)) {
        stop(running);
        return error;
      }
    }
  }
  return std::nullopt;
}

}  // namespace gearhark::cli
