#include "wide/wide.hpp"

#include <bit>
#include <cassert>
#include <cmath>
#include <numbers>

namespace gearhark {
namespace {

const Wide& no_wider_than([[maybe_unused]] Width width) {
#ifdef GEARHARK_HAS_AVX2
  if (width == Width::widest && __builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512vl") &&
      __builtin_cpu_supports("avx512dq") && __builtin_cpu_supports("avx512bw"))
    return wide_avx512::loops;
  if (width != Width::baseline && __builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma"))
    return wide_avx2::loops;
#endif
  return wide_baseline::loops;
}

const Wide*& chosen() {
  static const Wide* loops = &no_wider_than(Width::widest);
  return loops;
}

// Outermost first. A last stage of 8 saves one of 2.
std::vector<unsigned> factors(std::size_t n) {
  std::vector<unsigned> out;
  const bool eight = n % 8 == 0 && std::countr_zero(n) % 2 == 1;
  if (eight) n /= 8;
  for (const unsigned p : {3u, 5u, 4u, 2u})
    for (; n % p == 0; n /= p) out.push_back(p);
  if (eight) out.push_back(8);
  assert(n == 1);
  if (out.empty()) out.push_back(1);
  return out;
}

}  // namespace

const Wide& wide() { return *chosen(); }

void set_width(Width width) { chosen() = &no_wider_than(width); }

LanePlan::LanePlan(std::size_t points) : length(points), radices(factors(points)) {
  std::size_t n = length;
  for (const unsigned p : radices) {
    auto& stage = turns.emplace_back();
    const std::size_t m = n / p;
    for (std::size_t k = 0; k < m; ++k)
      for (std::size_t j = 1; j < p; ++j) {
        const double angle = -2.0 * std::numbers::pi * static_cast<double>(j * k) / static_cast<double>(n);
        stage.push_back(static_cast<float>(std::cos(angle)));
        stage.push_back(static_cast<float>(std::sin(angle)));
      }
    n = m;
  }
}

LanePlanView::LanePlanView(const LanePlan& plan) : length(plan.length) {
  assert(plan.radices.size() <= 48);
  for (std::size_t i = 0; i < plan.radices.size(); ++i) {
    radices[i] = plan.radices[i];
    turns[i] = plan.turns[i].data();
  }
}

}  // namespace gearhark
