// Runs many tasks, each in a process of its own: whatever one does to itself, the others go on.
#pragma once

#include <chrono>
#include <cstddef>
#include <functional>
#include <string>

#include "commands.hpp"

namespace gearhark::cli {

// Cores that this process may use.
std::size_t cores_allowed();

// How much at a time, and how long at most each may take; 0: as long as it likes.
struct WorkLimits {
  std::size_t jobs = 1;
  std::chrono::seconds each{0};
};

// At most `limits.jobs` at a time. `work(i)` runs in a process of its own and returns a text; `done(i, text,
// trouble)` gets it here, in order of completion; `trouble` says why there is no whole text ("" where there
// is). What takes longer than its time is killed. An error of `done` stops all.
Outcome run_apart(std::size_t count, WorkLimits limits, const std::function<std::string(std::size_t)>& work,
                  const std::function<Outcome(std::size_t, const std::string&, const std::string&)>& done);

}  // namespace gearhark::cli
