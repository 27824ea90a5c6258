#include "waiting.hpp"

#include <unistd.h>

#include <chrono>
#include <csignal>
#include <cstdio>
#include <utility>

namespace gearhark::cli {

Waiting::Waiting(std::string stage, Stages stages) : stages_(stages) {
  now(std::move(stage));
  if (stages_ == Stages::passing && ::isatty(STDERR_FILENO) == 1)
    shower_ = std::jthread([this](const std::stop_token& stop) { show(stop); });
}

Waiting::~Waiting() { done(); }

void Waiting::now(std::string stage) {
  const std::lock_guard lock(guard_);
  stage_ = std::move(stage);
  if (stages_ == Stages::listed) std::fprintf(stderr, "%s ...\n", stage_.c_str());
}

void Waiting::done() {
  if (!shower_.joinable()) return;
  shower_.request_stop();
  shower_.join();
}

void Waiting::show(const std::stop_token& stop) {
  // Signals are the other thread's business.
  sigset_t all;
  ::sigfillset(&all);
  ::pthread_sigmask(SIG_BLOCK, &all, nullptr);
  const auto start = std::chrono::steady_clock::now();
  auto next = start + std::chrono::seconds(2);
  std::unique_lock lock(guard_);
  bool shown = false;
  while (!stopped_.wait_until(lock, stop, next, [&] { return stop.stop_requested(); })) {
    const auto seconds =
        std::chrono::duration_cast<std::chrono::seconds>(std::chrono::steady_clock::now() - start).count();
    std::fprintf(stderr, "\r\033[K%s, %lld s ...", stage_.c_str(), static_cast<long long>(seconds));
    std::fflush(stderr);
    shown = true;
    next += std::chrono::seconds(1);
  }
  if (shown) std::fputs("\r\033[K", stderr);
}

}  // namespace gearhark::cli
