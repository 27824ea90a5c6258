// Runs many tasks, each in a process of its own: whatever one does to itself, the others go on.
#pragma once

#include <cstddef>
#include <functional>
#include <string>

#include "commands.hpp"

namespace gearhark::cli {

// Cores that this process may use.
std::size_t cores_allowed();

// At most `jobs` at a time. `work(i)` runs in a process of its own and returns a text; `done(i, text,
// trouble)` gets it here, in order of completion; `trouble` says why there is no whole text ("" where there
// is). An error of `done` stops all.
Outcome run_apart(std::size_t count, std::size_t jobs, const std::function<std::string(std::size_t)>& work,
                  const std::function<Outcome(std::size_t, const std::string&, const std::string&)>& done);

}  // namespace gearhark::cli
