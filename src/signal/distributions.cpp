#include "gearhark/signal/distributions.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include "gearhark/signal/windows.hpp"

namespace gearhark {
namespace {

constexpr double precision = 1e-16;
constexpr int most_terms = 100000;

// std::lgamma leaves the sign in a variable of the C library that all threads share.
double log_gamma(double a) {
  int sign = 0;
  return lgamma_r(a, &sign);
}

// ln of x^a e^-x / Gamma(a), which both expansions below have in front.
double log_front(double a, double x) { return a * std::log(x) - x - log_gamma(a); }

// ln P(a, x) by its power series; quick for x < a + 1.
double log_lower_by_series(double a, double x) {
  double term = 1.0 / a, sum = term;
  for (int n = 1; n < most_terms && term > sum * precision; ++n) {
    term *= x / (a + n);
    sum += term;
  }
  return log_front(a, x) + std::log(sum);
}

constexpr double tiny = 1e-300;
double away_from_zero(double v) { return std::abs(v) < tiny ? tiny : v; }

// Continued fraction a1 / (b1 + a2 / (b2 + ...)) from its terms, by the modified method of Lentz.
template <class Terms>
double continued_fraction(const Terms& terms) {
  double value = tiny, c = tiny, d = 0.0;
  for (int i = 1; i < most_terms; ++i) {
    const auto [a, b] = terms(i);
    d = 1.0 / away_from_zero(b + a * d);
    c = away_from_zero(b + a / c);
    value *= c * d;
    if (std::abs(c * d - 1.0) < precision * 8.0) break;
  }
  return value;
}

struct Term {
  double a, b;
};

// ln Q(a, x); quick for x >= a + 1.
double log_upper_by_fraction(double a, double x) {
  const double fraction = continued_fraction([&](int i) -> Term {
    const double n = i - 1.0;
    return {i == 1 ? 1.0 : -n * (n - a), x + 2.0 * n + 1.0 - a};
  });
  return log_front(a, x) + std::log(fraction);
}

// ln of 1 - e^x for x <= 0.
double log_complement(double x) { return x > -0.7 ? std::log(-std::expm1(x)) : std::log1p(-std::exp(x)); }

// The regularised incomplete beta function, for x on the quick side of its mean.
double beta_by_fraction(double a, double b, double x) {
  const double fraction = continued_fraction([&](int i) -> Term {
    if (i == 1) return {1.0, 1.0};
    const double n = i - 1.0, m = std::floor(n / 2.0);
    const double even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
    const double odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
    return {(i - 1) % 2 == 0 ? even : odd, 1.0};
  });
  const double log_scale =
      log_gamma(a + b) - log_gamma(a) - log_gamma(b) + a * std::log(x) + b * std::log1p(-x) - std::log(a);
  return std::exp(log_scale) * fraction;
}

double incomplete_beta(double a, double b, double x) {
  if (x <= 0.0) return 0.0;
  if (x >= 1.0) return 1.0;
  return x < (a + 1.0) / (a + b + 2.0) ? beta_by_fraction(a, b, x) : 1.0 - beta_by_fraction(b, a, 1.0 - x);
}

// Where the falling function log_tail passes ln p, for x > 0.
template <class LogTail>
double where_exceeded(const LogTail& log_tail, double p) {
  const double wanted = std::log(p);
  double low = 0.0, high = 1.0;
  while (log_tail(high) > wanted && high < 1e300) high *= 2.0;
  for (int i = 0; i < 200 && high - low > 1e-14 * high; ++i) {
    const double middle = 0.5 * (low + high);
    (log_tail(middle) > wanted ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

std::vector<std::size_t> ascending(std::span<const double> values) {
  std::vector<std::size_t> order(values.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::sort(order.begin(), order.end(), [&](auto a, auto b) { return values[a] < values[b]; });
  return order;
}

}  // namespace

double gamma_upper_tail(double shape, double x) { return std::exp(log_gamma_upper_tail(shape, x)); }

double gamma_lower_tail(double shape, double x) {
  if (x <= 0.0) return 0.0;
  return x < shape + 1.0 ? std::exp(log_lower_by_series(shape, x))
                         : -std::expm1(log_upper_by_fraction(shape, x));
}

double log_gamma_upper_tail(double shape, double x) {
  if (x <= 0.0) return 0.0;
  return x < shape + 1.0 ? log_complement(std::min(log_lower_by_series(shape, x), -1e-300))
                         : log_upper_by_fraction(shape, x);
}

double chi_square_upper_tail(double freedom, double x) { return gamma_upper_tail(0.5 * freedom, 0.5 * x); }

double log_chi_square_upper_tail(double freedom, double x) {
  return log_gamma_upper_tail(0.5 * freedom, 0.5 * x);
}

double chi_square_exceeded(double freedom, double p) {
  return where_exceeded([&](double x) { return log_chi_square_upper_tail(freedom, x); }, p);
}

double f_upper_tail(double numerator_freedom, double denominator_freedom, double x) {
  if (x <= 0.0) return 1.0;
  const double share = denominator_freedom / (denominator_freedom + numerator_freedom * x);
  return incomplete_beta(0.5 * denominator_freedom, 0.5 * numerator_freedom, share);
}

double f_exceeded(double numerator_freedom, double denominator_freedom, double p) {
  return where_exceeded(
      [&](double x) { return std::log(f_upper_tail(numerator_freedom, denominator_freedom, x)); }, p);
}

Decibels exceedance_level(double freedom, double p) {
  return Decibels::of_power_ratio(chi_square_exceeded(freedom, p) / freedom);
}

Decibels exceedance_over_neighbours(double freedom, double neighbours, double p) {
  return Decibels::of_power_ratio(f_exceeded(freedom, freedom * neighbours, p));
}

double averaged_median_bias(double freedom) { return chi_square_exceeded(freedom, 0.5) / freedom; }

double welch_freedom(std::span<const float> weights, std::size_t hop, std::size_t averages) {
  if (averages == 0) return 0.0;
  const auto k = static_cast<double>(averages);
  double spread = 1.0;
  for (std::size_t m = 1; m < averages && m * hop < weights.size(); ++m)
    spread += 2.0 * (1.0 - static_cast<double>(m) / k) * std::pow(overlap_correlation(weights, m * hop), 2);
  return 2.0 * k / spread;
}

std::vector<double> false_discovery_adjusted(std::span<const double> chances) {
  const auto order = ascending(chances);
  const auto m = static_cast<double>(chances.size());
  std::vector<double> out(chances.size());
  double smallest = 1.0;
  for (std::size_t i = order.size(); i-- > 0;) {
    smallest = std::min(smallest, chances[order[i]] * m / static_cast<double>(i + 1));
    out[order[i]] = smallest;
  }
  return out;
}

std::vector<bool> false_discovery_rejections(std::span<const double> chances, double q) {
  const auto order = ascending(chances);
  const auto m = static_cast<double>(chances.size());
  std::size_t named = 0;
  for (std::size_t i = 0; i < order.size(); ++i)
    if (chances[order[i]] <= static_cast<double>(i + 1) * q / m) named = i + 1;
  std::vector<bool> out(chances.size(), false);
  for (std::size_t i = 0; i < named; ++i) out[order[i]] = true;
  return out;
}

double fisher_combination(std::span<const double> chances) {
  double logs = 0.0;
  for (const double p : chances) logs += std::log(p);
  return chances.empty() ? 1.0
                         : chi_square_upper_tail(2.0 * static_cast<double>(chances.size()), -2.0 * logs);
}

}  // namespace gearhark
