// Independent pieces of work on all cores.
#pragma once

#include <cstddef>
#include <functional>

namespace gearhark {

// Calls work(0) .. work(count - 1), each once, on up to as many threads as there are cores; returns when all
// are done. The calls must not depend on each other. An exception from one is thrown again here, after the
// others have ended.
void for_each_in_parallel(std::size_t count, const std::function<void(std::size_t)>& work);

// At most so many threads from now on, in all later calls; 0: as many as there are cores. For programs that
// run several diagnoses at a time.
void limit_threads(std::size_t most);

}  // namespace gearhark
