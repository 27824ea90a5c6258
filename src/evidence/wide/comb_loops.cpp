// Compiled once per instruction set, each time with GEARHARK_WIDE naming the namespace of the result.
#include "comb_loops.hpp"

#include "wide/lane_math.hpp"

namespace gearhark {
namespace {

constexpr std::size_t strengths = 8;
constexpr std::size_t most_widths = 4;
// Six factors of at most e^14 fit into a float; the logarithm is taken then.
constexpr std::size_t factors_at_once = 6;

[[gnu::always_inline]] inline Lanes mean_of(const int* from, const int* to, std::size_t group, float share) {
  return difference(to + group, from + group) * share;
}

[[gnu::always_inline]] inline Lanes over_background(Lanes own, Lanes left, Lanes right) {
  // A strong neighbour on one side must not make a line of the slope between: lean towards the higher flank.
  return own / larger(larger((left + right) * 0.5f, larger(left, right) * 0.9f), all(0.8f));
}

// The rows lie anywhere in tables larger than the caches.
[[gnu::always_inline]] inline void ask_for(const LineRows& line, std::size_t bands) {
  constexpr std::size_t cache_line = 16;  // of whole numbers
  for (std::size_t band = 0; band < bands; band += cache_line) {
    __builtin_prefetch(line.from + band);
    __builtin_prefetch(line.to + band);
    __builtin_prefetch(line.left_from + band);
    __builtin_prefetch(line.left_to + band);
    __builtin_prefetch(line.right_from + band);
    __builtin_prefetch(line.right_to + band);
  }
}

[[gnu::always_inline]] inline float mean_of_bands(const float* bands, std::size_t count) {
  Lanes eights{};
  std::size_t k = 0;
  for (; k + lanes <= count; k += lanes) eights = eights + load(bands + k);
  float total = sum(eights);
  for (; k < count; ++k) total += bands[k];
  return total / static_cast<float>(count);
}

// By eights: what is written beyond a run is written again by those behind it.
[[gnu::always_inline]] inline void means_of_run(const GroupRun& run, float* means) {
  const float *low = means + run.low, *high = means + run.high;
  float* to = means + run.to;
  if (run.step == 0)
    *to = mean_of_bands(low, run.high);
  else if (run.step == 1)
    for (std::size_t i = 0; i < run.count; i += lanes) store(to + i, (load(low + i) + load(high + i)) * 0.5f);
  else if (run.step == 2)
    for (std::size_t i = 0; i < run.count; i += lanes)
      store(to + i, (get_pairs(low + 2 * i).re + get_pairs(high + 2 * i).re) * 0.5f);
  else
    for (std::size_t i = 0; i < run.count; ++i) to[i] = 0.5f * (low[i * run.step] + high[i * run.step]);
}

// Run by run for several lines: what was just stored can't be read at once at another place.
void line_means(const LineRows* lines, std::size_t count, const GroupPlan& plan, float* scratch,
                float* means) {
  const std::size_t apart = plan.groups + beyond_groups;
  for (std::size_t first = 0; first < count; first += lines_at_once) {
    const std::size_t some = count - first < lines_at_once ? count - first : lines_at_once;
    for (std::size_t i = 0; i < some; ++i) ask_for(lines[first + i], plan.bands);
    for (std::size_t i = 0; i < some; ++i) {
      const LineRows line = lines[first + i];
      float *own = scratch + 3 * i * apart, *left = own + apart, *right = left + apart;
      for (std::size_t band = 0; band < plan.bands; band += lanes) {
        store(own + band, mean_of(line.from, line.to, band, line.own_share));
        store(left + band, mean_of(line.left_from, line.left_to, band, line.left_share));
        store(right + band, mean_of(line.right_from, line.right_to, band, line.right_share));
      }
    }
    for (const GroupRun* run = plan.runs; run != plan.runs + plan.run_count; ++run)
      for (std::size_t i = 0; i < 3 * some; ++i) means_of_run(*run, scratch + i * apart);
    for (std::size_t i = 0; i < some; ++i, means += plan.groups) {
      const float *own = scratch + 3 * i * apart, *left = own + apart, *right = left + apart;
      for (std::size_t g = 0; g < plan.groups; g += lanes)
        store(means + g, over_background(load(own + g), load(left + g), load(right + g)));
    }
  }
}

// product[a] *= 1 - p + p exp(log likelihood ratio) of one line, in as many groups at once as V holds.
template <class V>
[[gnu::always_inline]] inline void multiply(V (&product)[strengths], const LineLook& line, std::size_t group,
                                            float most_freedom, float line_cap) {
  const V mean = load_as(V{}, line.means + group);
  const V freedom = smaller(load_as(V{}, line.bands + group) * line.freedom, all_as(V{}, most_freedom));
  const V cap = all_as(V{}, line_cap), absent = all_as(V{}, 1.0f - line.presence);
  for (std::size_t a = 0; a < strengths; ++a) {
    const V ratio = freedom * (mean * line.strengths[a] - all_as(V{}, line.strengths[strengths + a]));
    product[a] = product[a] * (absent + exponential(smaller(ratio, cap)) * line.presence);
  }
}

template <class V>
[[gnu::always_inline]] inline void sum_of_logs(const LineLook* first, const LineLook* last, std::size_t group,
                                               float most_freedom, float line_cap, V (&sum)[strengths]) {
  for (V& one : sum) one = V{};
  while (first != last) {
    V product[strengths];
    for (V& one : product) one = all_as(V{}, 1.0f);
    for (std::size_t n = 0; n < factors_at_once && first != last; ++n, ++first)
      multiply(product, *first, group, most_freedom, line_cap);
    for (std::size_t a = 0; a < strengths; ++a) sum[a] = sum[a] + logarithm(product[a]);
  }
}

// Side lines support the line that they stand beside and do not make one: whatever lets strikes swell and
// fade, their mean is at least as strong as any of its changes.
template <class V>
[[gnu::always_inline]] inline void add_flanked(const FlankedLooks& looks, std::size_t group,
                                               float most_freedom, float line_cap, V (&sum)[strengths]) {
  if (looks.count == 0) return;
  V main[strengths], side[strengths];
  sum_of_logs(looks.lines, looks.lines + looks.mains, group, most_freedom, line_cap, main);
  sum_of_logs(looks.lines + looks.mains, looks.lines + looks.count, group, most_freedom, line_cap, side);
  for (std::size_t a = 0; a < strengths; ++a)
    sum[a] =
        sum[a] + main[a] + smaller(side[a], larger(main[a], V{}) * 2.0f + all_as(V{}, looks.sides_alone));
}

// Eight sums in double precision, and in a register each as many as there is room for.
constexpr std::size_t doubles = reg_lanes / 2, registers = lanes / doubles;
using Doubles [[gnu::vector_size(doubles * sizeof(double))]] = double;
using Singles [[gnu::vector_size(doubles * sizeof(float))]] = float;

// Adds eight values and stores the sums' lowest 32 bits in whole units: rounded down by adding a number of 52
// bits that leaves none for the rest.
[[gnu::always_inline]] inline void add_and_store(Doubles (&sum)[registers], Lanes values, double unit,
                                                 int* to) {
  using Longs [[gnu::vector_size(doubles * sizeof(long))]] = long;
  using Ints [[gnu::vector_size(doubles * sizeof(int))]] = int;
  for (std::size_t i = 0; i < registers; ++i) {
    Singles here;
    __builtin_memcpy(&here, reinterpret_cast<const char*>(&values) + i * sizeof here, sizeof here);
    sum[i] += __builtin_convertvector(here, Doubles);
    const Doubles whole = (sum[i] * unit - 0.5) + 6755399441055744.0;  // 1.5 x 2^52
    const Ints low = __builtin_convertvector(reinterpret_cast<Longs>(whole), Ints);
    __builtin_memcpy(to + i * doubles, &low, sizeof low);
  }
}

// The next of eight spectra (or fewer: the last is repeated) at k..k+7, a lane for each; beyond `count`
// zeros.
[[gnu::always_inline]] inline void next_eight(const float* const (&from)[lanes], std::size_t k,
                                              std::size_t count, Lanes (&rows)[lanes]) {
  for (std::size_t s = 0; s < lanes; ++s) {
    float values[lanes] = {};
    for (std::size_t j = 0; j < lanes && k + j < count; ++j) values[j] = from[s][k + j];
    rows[s] = k + lanes <= count ? load(from[s] + k) : load(values);
  }
  transpose(rows);
}

void extend_sums(const float* power, std::size_t apart, std::size_t count, std::size_t spectra,
                 float strongest, double unit, double* running, int* to) {
  const std::size_t stride = (spectra + lanes - 1) / lanes * lanes;
  for (std::size_t first = 0; first < spectra; first += lanes) {
    const float* from[lanes];
    for (std::size_t s = 0; s < lanes; ++s)
      from[s] = power + (first + s < spectra ? first + s : spectra - 1) * apart;
    Doubles sum[registers];
    __builtin_memcpy(sum, running + first, sizeof sum);
    for (std::size_t k = 0; k < count; k += lanes) {
      Lanes rows[lanes];
      next_eight(from, k, count, rows);
      for (std::size_t j = 0; j < lanes && k + j < count; ++j)
        add_and_store(sum, smaller(rows[j], all(strongest)), unit, to + (k + j) * stride + first);
    }
    __builtin_memcpy(running + first, sum, sizeof sum);
  }
}

// factors[a * apart], in the groups from `group` on.
template <class V>
[[gnu::always_inline]] inline void factors_of(const CombLooks* widths, std::size_t width_count,
                                              std::size_t group, float most_freedom, float line_cap,
                                              std::size_t apart, float* factors) {
  V by_width[most_widths][strengths];
  for (std::size_t w = 0; w < width_count; ++w) {
    const CombLooks& comb = widths[w];
    sum_of_logs(comb.lines, comb.lines + comb.count, group, most_freedom, line_cap, by_width[w]);
    for (const FlankedLooks& flanked : comb.flanked)
      add_flanked(flanked, group, most_freedom, line_cap, by_width[w]);
  }
  for (std::size_t a = 0; a < strengths; ++a) {
    V top = by_width[0][a], sum{};
    for (std::size_t w = 1; w < width_count; ++w) top = larger(top, by_width[w][a]);
    for (std::size_t w = 0; w < width_count; ++w) sum = sum + exponential(by_width[w][a] - top);
    const V mean = top + logarithm(sum * (1.0f / static_cast<float>(width_count)));
    __builtin_memcpy(factors + a * apart, &mean, sizeof mean);
  }
}

void comb_factors(const CombLooks* widths, std::size_t width_count, std::size_t groups, float most_freedom,
                  float line_cap, float* factors) {
  constexpr std::size_t at_once = sizeof(Sum) / sizeof(float);
  std::size_t g = 0;
  for (; g + at_once <= groups; g += at_once)
    factors_of<Sum>(widths, width_count, g, most_freedom, line_cap, groups, factors + g);
  if (g < groups) factors_of<Lanes>(widths, width_count, g, most_freedom, line_cap, groups, factors + g);
}

void add_scattered(const float* factors, std::size_t cells, const Scatter& scatter, float* sums) {
  for (std::size_t cell = 0; cell < cells;
       cell += lanes, factors += strengths * lanes, sums += strengths * lanes) {
    Lanes by_strength[lanes];
    for (std::size_t i = 0; i < lanes; ++i) by_strength[i] = load(factors + i * strengths);
    transpose(by_strength);
    for (std::size_t a = 0; a < strengths; ++a) {
      Lanes there[scatter_terms], top{};
      for (std::size_t t = 0; t < scatter_terms; ++t) {
        const BetweenStrengths& at = scatter.at[a][t];
        const std::size_t above = at.low + 1 < strengths ? at.low + 1 : at.low;
        there[t] = by_strength[at.low] * at.weight_low + by_strength[above] * at.weight_high;
        top = larger(top, there[t]);
      }
      Lanes sum = exponential(-top) * scatter.not_at_all;
      for (std::size_t t = 0; t < scatter_terms; ++t)
        sum = sum + exponential(there[t] - top) * scatter.share[t];
      store(sums + a * lanes, load(sums + a * lanes) + top + logarithm(sum));
    }
  }
}

void over_strengths(const float* sums, std::size_t cells, const float* prior, float most, float* total,
                    float* largest) {
  for (std::size_t cell = 0; cell < cells; cell += lanes, sums += strengths * lanes) {
    Lanes top = load(sums), sum{};
    for (std::size_t a = 1; a < strengths; ++a) top = larger(top, load(sums + a * lanes));
    store(largest + cell, top);
    top = smaller(top, all(most));
    for (std::size_t a = 0; a < strengths; ++a)
      sum = sum + exponential(smaller(load(sums + a * lanes), all(most)) - top) * prior[a];
    store(total + cell, top + logarithm(sum));
  }
}

float sum_of_exp(const float* values, std::size_t count, float top) {
  Lanes total{};
  for (std::size_t i = 0; i < count; i += lanes) total = total + exponential(load(values + i) - all(top));
  return sum(total);
}

}  // namespace

namespace GEARHARK_WIDE {
extern const CombLoops comb_loops;
const CombLoops comb_loops{extend_sums, line_means, comb_factors, add_scattered, over_strengths, sum_of_exp};
}  // namespace GEARHARK_WIDE

}  // namespace gearhark
