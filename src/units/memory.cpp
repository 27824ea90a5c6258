#include "gearhark/units/memory.hpp"

#include <cstdlib>

#ifdef __GLIBC__
#include <malloc.h>
#endif

namespace gearhark {

void keep_freed_memory() {
#ifdef __GLIBC__
  mallopt(M_MMAP_THRESHOLD, 32 << 20);  // the most that GNU's C library takes
  mallopt(M_TRIM_THRESHOLD, 256 << 20);
#endif
}

}  // namespace gearhark
