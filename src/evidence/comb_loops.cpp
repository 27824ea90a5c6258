#include "wide/comb_loops.hpp"

#include "wide/wide.hpp"

namespace gearhark {

const CombLoops& comb_loops() {
#ifdef GEARHARK_HAS_AVX2
  if (&wide() == &wide_avx512::loops) return wide_avx512::comb_loops;
  if (&wide() == &wide_avx2::loops) return wide_avx2::comb_loops;
#endif
  return wide_baseline::comb_loops;
}

}  // namespace gearhark
