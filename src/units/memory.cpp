#include "gearhark/units/memory.hpp"

#include <algorithm>
#include <cstdint>
#include <cstdlib>
#include <utility>

#if defined(__linux__) && defined(__GLIBC__) && !defined(__SANITIZE_ADDRESS__) && \
    !defined(__SANITIZE_THREAD__)
#define GEARHARK_TELLS_MALLOC
#include <malloc.h>
#include <sys/mman.h>
#include <unistd.h>
#endif

namespace gearhark {

#ifdef GEARHARK_TELLS_MALLOC

namespace {
std::pair<std::uintptr_t, std::uintptr_t> large_pages;  // from, to
}

// Room is asked for once and given back to malloc, which keeps its addresses and touches none of it; what is
// taken from there later comes in pages of 2 MB. What lies before the first of them is taken for good and
// never touched: to bring it in would be hundreds of page faults.
void keep_freed_memory() {
  constexpr std::size_t room = std::size_t{256} << 20, page = std::size_t{2} << 20;
  mallopt(M_ARENA_MAX, 1);  // what threads have for themselves would come in small pages
  mallopt(M_MXFAST, 0);     // else small freed pieces are put together anew for every large array
  mallopt(M_MMAP_MAX, 0);
  mallopt(M_TRIM_THRESHOLD, 1 << 30);
  if (void* first = std::malloc(room)) {
    const std::uintptr_t from = (reinterpret_cast<std::uintptr_t>(first) + page - 1) / page * page;
    const std::uintptr_t to = (reinterpret_cast<std::uintptr_t>(first) + room) / page * page;
    madvise(reinterpret_cast<void*>(from), to - from, MADV_HUGEPAGE);
    large_pages = {from, to};
    std::free(first);
    [[maybe_unused]] static void* volatile never_used =
        std::malloc(from - reinterpret_cast<std::uintptr_t>(first));
  }
  mallopt(M_MMAP_THRESHOLD, 32 << 20);
  mallopt(M_MMAP_MAX, 65536);
}

void give_back_freed_memory() {
  malloc_trim(0);
  const auto end = reinterpret_cast<std::uintptr_t>(sbrk(0));
  if (const auto to = std::min(large_pages.second, end / 4096 * 4096); to > large_pages.first)
    madvise(reinterpret_cast<void*>(large_pages.first), to - large_pages.first, MADV_NOHUGEPAGE);
}

#else

void keep_freed_memory() {}
void give_back_freed_memory() {}

#endif

}  // namespace gearhark
