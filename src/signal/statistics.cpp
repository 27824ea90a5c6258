#include "gearhark/signal/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace gearhark {
namespace {

// P(a, x) by its power series; converges fast for x < a + 1.
double lower_by_series(double a, double x) {
  double term = 1.0 / a, sum = term;
  for (int n = 1; n < 10000 && std::abs(term) > std::abs(sum) * 1e-16; ++n) {
    term *= x / (a + n);
    sum += term;
  }
  return sum * std::exp(-x + a * std::log(x) - std::lgamma(a));
}

// Q(a, x) by its continued fraction (Lentz's method); for x >= a + 1.
double upper_by_fraction(double a, double x) {
  constexpr double tiny = 1e-300;
  double b = x + 1.0 - a, c = 1.0 / tiny, d = 1.0 / b, h = d;
  for (int i = 1; i < 10000; ++i) {
    const double an = -i * (i - a);
    b += 2.0;
    d = an * d + b;
    if (std::abs(d) < tiny) d = tiny;
    c = b + an / c;
    if (std::abs(c) < tiny) c = tiny;
    d = 1.0 / d;
    h *= d * c;
    if (std::abs(d * c - 1.0) < 1e-15) break;
  }
  return std::exp(-x + a * std::log(x) - std::lgamma(a)) * h;
}

}  // namespace

double quantile(std::span<const float> values, double q) {
  if (values.empty()) return 0.0;
  std::vector<float> copy(values.begin(), values.end());
  const auto at = static_cast<std::ptrdiff_t>(std::lround(q * static_cast<double>(copy.size() - 1)));
  std::nth_element(copy.begin(), copy.begin() + at, copy.end());
  return static_cast<double>(copy[static_cast<std::size_t>(at)]);
}

double median(std::span<const float> values) { return quantile(values, 0.5); }

double median_absolute_deviation(std::span<const float> values) {
  const auto middle = static_cast<float>(median(values));
  std::vector<float> distance(values.size());
  std::transform(values.begin(), values.end(), distance.begin(),
                 [&](float v) { return std::abs(v - middle); });
  return median(distance);
}

std::vector<float> moving_average(std::span<const float> values, std::size_t width) {
  std::vector<double> sums(values.size() + 1, 0.0);
  for (std::size_t i = 0; i < values.size(); ++i) sums[i + 1] = sums[i] + static_cast<double>(values[i]);
  std::vector<float> out(values.size());
  const std::size_t half = width / 2;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const std::size_t from = i > half ? i - half : 0, to = std::min(values.size(), i + half + 1);
    out[i] = static_cast<float>((sums[to] - sums[from]) / static_cast<double>(to - from));
  }
  return out;
}

std::vector<float> block_median(std::span<const float> values, std::size_t width) {
  const std::size_t half = std::max<std::size_t>(1, width / 2);
  std::vector<double> centre, middle;
  for (std::size_t at = 0; at < values.size(); at += half) {
    const std::size_t from = at > half ? at - half : 0, to = std::min(values.size(), at + half);
    centre.push_back(static_cast<double>(at));
    middle.push_back(median(values.subspan(from, to - from)));
  }
  std::vector<float> out(values.size());
  std::size_t j = 0;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const auto x = static_cast<double>(i);
    while (j + 2 < centre.size() && centre[j + 1] < x) ++j;
    if (centre.size() < 2) {
      out[i] = static_cast<float>(middle[0]);
      continue;
    }
    const double part = std::clamp((x - centre[j]) / (centre[j + 1] - centre[j]), 0.0, 1.0);
    out[i] = static_cast<float>(middle[j] + part * (middle[j + 1] - middle[j]));
  }
  return out;
}

std::vector<float> exponential_background(std::span<const float> values, std::size_t width) {
  std::vector<float> out = block_median(values, width);
  for (float& value : out) value /= std::numbers::ln2_v<float>;
  return out;
}

double gamma_upper_tail(double shape, double x) {
  if (x <= 0.0) return 1.0;
  return x < shape + 1.0 ? 1.0 - lower_by_series(shape, x) : upper_by_fraction(shape, x);
}

double chi_square_upper_tail(double freedom, double x) { return gamma_upper_tail(0.5 * freedom, 0.5 * x); }

}  // namespace gearhark
