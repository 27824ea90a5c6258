#include "gearhark/signal/parallel.hpp"

#include <algorithm>
#include <atomic>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

#ifdef __linux__
#include <sched.h>
#endif

namespace gearhark {

namespace {

std::atomic<std::size_t> most_threads{0};

// Those that this process may run on: two threads on one core only get in each other's way.
std::size_t usable_cores() {
#ifdef __linux__
  cpu_set_t allowed;
  if (sched_getaffinity(0, sizeof allowed, &allowed) == 0)
    return static_cast<std::size_t>(std::max(1, CPU_COUNT(&allowed)));
#endif
  return std::max(1u, std::thread::hardware_concurrency());
}

}  // namespace

void limit_threads(std::size_t most) { most_threads = most; }

void for_each_in_parallel(std::size_t count, const std::function<void(std::size_t)>& work) {
  std::atomic<std::size_t> next{0};
  std::exception_ptr failure;
  std::mutex failure_guard;
  const auto worker = [&] {
    for (std::size_t i = next++; i < count; i = next++) {
      try {
        work(i);
      } catch (...) {
        const std::lock_guard lock(failure_guard);
        if (!failure) failure = std::current_exception();
      }
    }
  };
  const std::size_t limit = most_threads;
  const std::size_t cores = limit > 0 ? limit : usable_cores();
  std::vector<std::jthread> others;
  for (std::size_t i = 1; i < std::min(cores, count); ++i) others.emplace_back(worker);
  worker();
  others.clear();
  if (failure) std::rethrow_exception(failure);
}

}  // namespace gearhark
