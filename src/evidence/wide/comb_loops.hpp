// The innermost loops of comb evidence, compiled for several instruction sets: one comb in as many groups at
// once as a register holds, at least eight.
#pragma once

#include <cstddef>

namespace gearhark {

// Where one line of a comb is looked for, as rows of the bands' running sums.
struct LineRows {
  const int* from;  // their difference over own_share is the mean of the line's bins
  const int* to;
  const int *left_from, *left_to, *right_from, *right_to;  // the same of the flanks
  float own_share, left_share, right_share;                // 1 / (bins x unit of the sums)
};

// Groups that are each the mean of two before them, those two `step` further from one group to the next. Step
// 0: one group, the mean of `high` bands from `low` on.
struct GroupRun {
  std::size_t to, count;
  std::size_t low, high, step;
};
// The groups behind those of one band each, in rising order.
struct GroupPlan {
  std::size_t bands, groups;  // lanes of either, multiples of 8
  const GroupRun* runs;
  std::size_t run_count;
};
// line_means() works in lines_at_once x 3 x (groups + beyond_groups) floats.
inline constexpr std::size_t lines_at_once = 8, beyond_groups = 24;

// One line of a comb, and what each strength would do to it.
struct LineLook {
  const float* means;  // over the local background, of every group
  float freedom;       // degrees of freedom per independent band
  float presence;      // probability of being visible when the fault is
  const float* bands;  // independent bands of every group, here
  // x/(1+x) at 8 strengths, then log(1+x), x the excess of the mean.
  const float* strengths;
};

// A main line (or none) and then its side lines. `sides_alone`: nats that these may add without it.
struct FlankedLooks {
  const LineLook* lines;
  std::size_t mains, count;
  float sides_alone;
};

// A comb placed with lines of one width: those without side lines, and those with them.
inline constexpr std::size_t most_flanked = 4;
struct CombLooks {
  const LineLook* lines;
  std::size_t count;
  FlankedLooks flanked[most_flanked];
};

// weight_low x factor at strength `low` + weight_high x the one above: the factor between two searched
// strengths.
struct BetweenStrengths {
  unsigned low;
  float weight_low, weight_high;
};
inline constexpr std::size_t scatter_terms = 3;
// By how much a run's level may differ from what is expected of it: share + sum of shares x exp(factor
// there).
struct Scatter {
  float not_at_all;
  float share[scatter_terms];
  BetweenStrengths at[8][scatter_terms];  // by strength
};

struct CombLoops {
  // Running sums of every spectrum's next `count` values, power[spectrum * apart + k] (none counted above
  // `strongest`), as whole numbers of 1 / unit that may wrap round: rows of spectra, rounded up to a multiple
  // of
  // 8. running: the sums themselves, as many.
  void (*extend_sums)(const float* power, std::size_t apart, std::size_t count, std::size_t spectra,
                      float strongest, double unit, double* running, int* rows);
  // The means of lines over their local backgrounds, `groups` of the plan for each.
  void (*line_means)(const LineRows* lines, std::size_t count, const GroupPlan& plan, float* scratch,
                     float* means);
  // factors[a * groups + g] = log Bayes factor at strength a in group g, averaged over the widths. groups: a
  // multiple of 8; most_freedom, line_cap (nats): limits of what one line may say.
  void (*comb_factors)(const CombLooks* widths, std::size_t width_count, std::size_t groups,
                       float most_freedom, float line_cap, float* factors);
  // sums += log of the scattered factors of one run. factors: 8 strengths a cell; sums: by eight cells,
  // [strength] [cell]. cells: a multiple of 8.
  void (*add_scattered)(const float* factors, std::size_t cells, const Scatter& scatter, float* sums);
  // Per cell: log of the sum over strengths of prior x exp(sums, none above `most`), and the largest of its
  // sums.
  void (*over_strengths)(const float* sums, std::size_t cells, const float* prior, float most, float* total,
                         float* largest);
  // sum of exp(values - top); count: a multiple of 8.
  float (*sum_of_exp)(const float* values, std::size_t count, float top);
};

namespace wide_baseline {
extern const CombLoops comb_loops;
}
namespace wide_avx2 {
extern const CombLoops comb_loops;
}
namespace wide_avx512 {
extern const CombLoops comb_loops;
}

// Those of the instruction set that signal's loops use.
const CombLoops& comb_loops();

}  // namespace gearhark
