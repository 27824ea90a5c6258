#include "gearhark/signal/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace gearhark {
namespace {

// Leaves `values` partly sorted.
double quantile_in_place(std::span<float> values, double q) {
  if (values.empty()) return 0.0;
  const double rank = std::clamp(q, 0.0, 1.0) * static_cast<double>(values.size() - 1);
  const auto below = values.begin() + static_cast<std::ptrdiff_t>(rank);
  std::nth_element(values.begin(), below, values.end());
  const double part = rank - std::floor(rank);
  if (part == 0.0) return static_cast<double>(*below);
  const float above = *std::min_element(below + 1, values.end());
  return std::lerp(static_cast<double>(*below), static_cast<double>(above), part);
}

// Value indices [from, to) of the window centred on i.
struct Reach {
  std::size_t from, to;
};
Reach reach(std::size_t i, std::size_t width, std::size_t count) {
  const std::size_t half = width / 2;
  return {i > half ? i - half : 0, std::min(count, i + half + 1)};
}

struct Knots {
  std::vector<double> at, value;
};

Knots block_medians(std::span<const float> values, std::size_t width) {
  const std::size_t block = std::clamp<std::size_t>(width, 1, values.size());
  const std::size_t step = std::max<std::size_t>(1, block / 2);
  Knots knots;
  std::vector<float> copy(block);
  for (std::size_t from = 0;; from += step) {
    from = std::min(from, values.size() - block);  // the last block ends with the data
    std::copy_n(values.begin() + static_cast<std::ptrdiff_t>(from), block, copy.begin());
    knots.at.push_back(static_cast<double>(from) + 0.5 * static_cast<double>(block - 1));
    knots.value.push_back(quantile_in_place(copy, 0.5));
    if (from + block == values.size()) return knots;
  }
}

}  // namespace

double quantile(std::span<const float> values, double q) {
  std::vector<float> copy(values.begin(), values.end());
  return quantile_in_place(copy, q);
}

double median(std::span<const float> values) { return quantile(values, 0.5); }

double median_absolute_deviation(std::span<const float> values) {
  const auto middle = static_cast<float>(median(values));
  std::vector<float> distance(values.size());
  std::transform(values.begin(), values.end(), distance.begin(),
                 [&](float v) { return std::abs(v - middle); });
  return quantile_in_place(distance, 0.5);
}

std::vector<float> moving_average(std::span<const float> values, std::size_t width) {
  std::vector<double> sums(values.size() + 1, 0.0);
  for (std::size_t i = 0; i < values.size(); ++i) sums[i + 1] = sums[i] + static_cast<double>(values[i]);
  std::vector<float> out(values.size());
  for (std::size_t i = 0; i < values.size(); ++i) {
    const auto [from, to] = reach(i, width, values.size());
    out[i] = static_cast<float>((sums[to] - sums[from]) / static_cast<double>(to - from));
  }
  return out;
}

std::vector<float> running_median(std::span<const float> values, std::size_t width) {
  std::vector<float> out(values.size()), sorted;
  Reach held{0, 0};
  for (std::size_t i = 0; i < values.size(); ++i) {
    const Reach wanted = reach(i, width, values.size());
    for (; held.to < wanted.to; ++held.to)
      sorted.insert(std::upper_bound(sorted.begin(), sorted.end(), values[held.to]), values[held.to]);
    for (; held.from < wanted.from; ++held.from)
      sorted.erase(std::lower_bound(sorted.begin(), sorted.end(), values[held.from]));
    const std::size_t n = sorted.size();
    out[i] = 0.5f * (sorted[(n - 1) / 2] + sorted[n / 2]);
  }
  return out;
}

std::vector<float> block_median(std::span<const float> values, std::size_t width) {
  std::vector<float> out(values.size());
  if (values.empty()) return out;
  const Knots knots = block_medians(values, width);
  std::size_t j = 0;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const auto x = static_cast<double>(i);
    while (j + 2 < knots.at.size() && knots.at[j + 1] < x) ++j;
    const std::size_t next = std::min(j + 1, knots.at.size() - 1);
    const double gap = knots.at[next] - knots.at[j];
    const double part = gap > 0.0 ? std::clamp((x - knots.at[j]) / gap, 0.0, 1.0) : 0.0;
    out[i] = static_cast<float>(std::lerp(knots.value[j], knots.value[next], part));
  }
  return out;
}

std::vector<float> exponential_background(std::span<const float> values, std::size_t width) {
  std::vector<float> out = block_median(values, width);
  for (float& value : out) value /= std::numbers::ln2_v<float>;
  return out;
}

}  // namespace gearhark
