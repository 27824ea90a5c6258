// Tails and levels of averaged noise spectra against printed tables; distributions over a wide range against
// SciPy stand in against_scipy.cpp.
#include "gearhark/signal/distributions.hpp"

#include <algorithm>
#include <array>
#include <catch2/catch.hpp>
#include <cmath>

#include "gearhark/signal/windows.hpp"

using namespace gearhark;

TEST_CASE("averaged noise exceeds its mean by the levels of the chi-square table") {
  // 10 lg of the chi-square quantile with 2K degrees of freedom over 2K: Welch 1967; rounded to 0.01 dB.
  struct Row {
    double averages;
    std::array<double, 5> db;
  };
  const std::array<double, 5> chances{0.05, 0.01, 1e-3, 1e-4, 1e-6};
  const std::vector<Row> table{{1, {4.77, 6.63, 8.39, 9.64, 11.40}}, {4, {2.87, 4.00, 5.14, 6.00, 7.27}},
                               {8, {2.16, 3.01, 3.90, 4.58, 5.62}},  {16, {1.59, 2.23, 2.91, 3.43, 4.25}},
                               {32, {1.16, 1.63, 2.14, 2.54, 3.17}}, {64, {0.84, 1.18, 1.56, 1.86, 2.33}}};
  for (const auto& row : table)
    for (std::size_t i = 0; i < chances.size(); ++i) {
      INFO(row.averages << " averages, chance " << chances[i]);
      CHECK(exceedance_level(2.0 * row.averages, chances[i]).value() == Approx(row.db[i]).margin(0.0051));
    }
}

TEST_CASE("a 95 % interval of a level is as wide as chi-square says") {
  // 10 lg of freedom over the quantiles at 2.5 % and 97.5 %, K = 8, 16, 64 (computed with SciPy 1.10).
  for (const auto& [averages, low, high] :
       {std::array{8.0, -2.56, 3.65}, std::array{16.0, -1.89, 2.43}, std::array{64.0, -1.00, 1.13}}) {
    CHECK(-exceedance_level(2.0 * averages, 0.025).value() == Approx(low).margin(0.0051));
    CHECK(-exceedance_level(2.0 * averages, 0.975).value() == Approx(high).margin(0.0051));
  }
}

TEST_CASE("a bin against its uncertain neighbours needs the levels of the F table") {
  // F(2K, 2KM) with M = 20 neighbours; computed with SciPy 1.10.
  CHECK(exceedance_over_neighbours(16, 20, 0.01).value() == Approx(3.13).margin(0.0051));
  CHECK(exceedance_over_neighbours(16, 20, 0.001).value() == Approx(4.07).margin(0.0051));
  CHECK(exceedance_over_neighbours(16, 20, 1e-4).value() == Approx(4.80).margin(0.0051));
  CHECK(exceedance_over_neighbours(32, 20, 0.01).value() == Approx(2.31).margin(0.0051));
  CHECK(exceedance_over_neighbours(32, 20, 0.001).value() == Approx(3.02).margin(0.0051));
  CHECK(exceedance_over_neighbours(32, 20, 1e-4).value() == Approx(3.57).margin(0.0051));
}

TEST_CASE("the line test's critical F has its closed form (K-1)(p^(-1/(K-1)) - 1)") {
  // Thomson, Proc. IEEE 70, 1982; Percival and Walden 1993 eq. 499c: F with 2 and 2K-2 degrees of freedom.
  for (const double k : {4.0, 5.0, 7.0, 8.0})
    for (const double p : {0.05, 0.01, 0.001}) {
      const double closed = (k - 1.0) * (std::pow(p, -1.0 / (k - 1.0)) - 1.0);
      CHECK(f_exceeded(2.0, 2.0 * k - 2.0, p) == Approx(closed).epsilon(1e-9));
    }
  CHECK(f_exceeded(2.0, 6.0, 0.05) == Approx(5.143).margin(5e-4));
}

TEST_CASE("the median of averaged noise stands below its mean by the known bias") {
  // Gamma median over mean in dB; ln 2 for one average.
  for (const auto& [averages, db] :
       {std::array{1.0, -1.592}, std::array{2.0, -0.761}, std::array{4.0, -0.372}, std::array{8.0, -0.183},
        std::array{16.0, -0.091}})
    CHECK(10.0 * std::log10(averaged_median_bias(2.0 * averages)) == Approx(db).margin(5.1e-4));
  CHECK(averaged_median_bias(2.0) == Approx(std::log(2.0)).epsilon(1e-12));
}

TEST_CASE("tails of one exponential variable are exact, and their logarithm lives on below the doubles") {
  for (const double x : {1e-12, 0.3, 1.0, 5.0, 700.0}) {
    CHECK(gamma_upper_tail(1.0, x) == Approx(std::exp(-x)).epsilon(1e-12));
    CHECK(gamma_lower_tail(1.0, x) == Approx(-std::expm1(-x)).epsilon(1e-12));
  }
  CHECK(log_gamma_upper_tail(1.0, 5000.0) == Approx(-5000.0).epsilon(1e-12));
  CHECK(gamma_upper_tail(1.0, 0.0) == 1.0);
  CHECK(gamma_upper_tail(50.0, 1e-9) == 1.0);
}

TEST_CASE("overlapped Hann averages have the degrees of freedom of Percival and Walden") {
  const auto hann = window_weights(Window::hann, 4096);
  // 50 % overlap: 36 K^2 / (19 K - 1), from eq. 292b with correlation 1/6.
  for (const std::size_t k : {1u, 10u, 19u, 100u}) {
    const auto n = static_cast<double>(k);
    CHECK(welch_freedom(hann, 2048, k) == Approx(36.0 * n * n / (19.0 * n - 1.0)).epsilon(1e-5));
  }
  CHECK(welch_freedom(hann, 4096, 10) == Approx(20.0));
  // A record of ten blocks: effective averages at 62.5 % and 75 % overlap (computed from eq. 292b with
  // SciPy).
  CHECK(0.5 * welch_freedom(hann, 1536, 25) == Approx(19.53).margin(0.006));
  CHECK(0.5 * welch_freedom(hann, 1024, 37) == Approx(19.49).margin(0.006));
  // Limits of freedom per average at 50 %: triangle 16/9, rectangle 4/3 (Percival and Walden 1993,
  // section 6.17).
  const auto many = std::size_t{100000};
  const auto per_average = [&](Window shape) {
    return welch_freedom(window_weights(shape, 4096), 2048, many) / static_cast<double>(many);
  };
  CHECK(per_average(Window::triangular) == Approx(16.0 / 9.0).epsilon(1e-3));
  CHECK(per_average(Window::rectangular) == Approx(4.0 / 3.0).epsilon(1e-3));
}

TEST_CASE("the example of Benjamini and Hochberg names four, Bonferroni's rule three") {
  // J. R. Stat. Soc. B 57 (1995), section 3.2: 15 chances, q = 0.05 (set from memory).
  const std::vector<double> chances{.0344, .0001, .0004, .0019, .0095, .0201, .0278, .0298,
                                    .0459, .3240, .4262, .5719, .6528, .7590, 1.000};
  const auto named = false_discovery_rejections(chances, 0.05);
  CHECK(std::count(named.begin(), named.end(), true) == 4);
  CHECK_FALSE(named[0]);
  for (std::size_t i = 1; i <= 4; ++i) CHECK(named[i]);
  CHECK(std::count_if(chances.begin(), chances.end(), [](double p) { return p <= 0.05 / 15.0; }) == 3);
  const auto adjusted = false_discovery_adjusted(chances);
  const std::vector<double> expected{.0645, .0015, .0030, .0095, .03562, .0603, .06386, .06386, .0765};
  for (std::size_t i = 0; i < expected.size(); ++i) CHECK(adjusted[i] == Approx(expected[i]).margin(5.1e-5));
  CHECK(false_discovery_rejections({}, 0.05).empty());
}

TEST_CASE("Fisher's combination of .01, .02 and .3 is .0034783") {
  // scipy.stats.combine_pvalues, SciPy 1.10: chi-square 19.4423 with 6 degrees of freedom.
  CHECK(fisher_combination(std::vector{0.01, 0.02, 0.3}) == Approx(0.0034783).margin(5e-8));
  CHECK(fisher_combination(std::vector{0.2}) == Approx(0.2).epsilon(1e-12));
  CHECK(fisher_combination({}) == 1.0);
}
