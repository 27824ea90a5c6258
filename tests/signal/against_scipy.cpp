// The same samples through gearhark and through SciPy (reference.py, run here by Debian's python3).
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <random>
#include <sstream>

#include "gearhark/signal/distributions.hpp"
#include "gearhark/signal/envelope.hpp"
#include "gearhark/signal/spectrum.hpp"
#include "gearhark/signal/statistics.hpp"
#include "gearhark/signal/windows.hpp"

using namespace gearhark;

namespace {

constexpr double rate_hz = 16000.0;

// Noise that is not white, with a tone and an offset.
std::vector<float> test_samples() {
  std::mt19937 random(11);
  std::normal_distribution<float> noise;
  std::vector<float> out(20000);
  float last = 0.0f;
  for (std::size_t i = 0; i < out.size(); ++i) {
    last = 0.8f * last + noise(random);
    out[i] = last + 0.1f + 2.0f * static_cast<float>(std::sin(0.37 * static_cast<double>(i)));
  }
  return out;
}

using Rows = std::map<std::string, std::vector<double>>;

Rows scipy_on(const std::vector<float>& samples) {
  const auto folder =
      std::filesystem::temp_directory_path() / ("gearhark_scipy_" + std::to_string(std::random_device{}()));
  std::filesystem::create_directory(folder);
  const auto in = folder / "samples", out = folder / "rows";
  std::ofstream(in, std::ios::binary)
      .write(reinterpret_cast<const char*>(samples.data()),
             static_cast<std::streamsize>(samples.size() * sizeof(float)));
  const std::string command = "/usr/bin/python3 '" GEARHARK_SOURCE_DIR "/tests/signal/reference.py' '" +
                              in.string() + "' " + std::to_string(rate_hz) + " > '" + out.string() + "'";
  const int status = std::system(command.c_str());
  Rows rows;
  std::ifstream lines(out);
  for (std::string line; std::getline(lines, line);) {
    std::istringstream words(line);
    std::string name;
    words >> name;
    for (std::string word; words >> word;) rows[name].push_back(std::strtod(word.c_str(), nullptr));
  }
  std::filesystem::remove_all(folder);
  REQUIRE(status == 0);
  return rows;
}

// Largest difference over the largest value.
template <class Got>
double difference(const Got& got, const std::vector<double>& wanted) {
  REQUIRE(got.size() == wanted.size());
  REQUIRE(!wanted.empty());
  double worst = 0.0, largest = 0.0;
  for (std::size_t i = 0; i < wanted.size(); ++i) {
    worst = std::max(worst, std::abs(static_cast<double>(got[i]) - wanted[i]));
    largest = std::max(largest, std::abs(wanted[i]));
  }
  return worst / largest;
}

std::string name(const char* stem, double freedom) {
  std::ostringstream out;
  out << stem << freedom;
  return out.str();
}

void check_tails(const Rows& scipy, double freedom) {
  INFO(freedom << " degrees of freedom");
  const auto& x = scipy.at(name("chi2_x_", freedom));
  for (std::size_t i = 0; i < x.size(); ++i) {
    INFO("x " << x[i]);
    // cancellation in a ln x - x - lgamma(a) at large degrees of freedom costs some digits
    const double log_tail = scipy.at(name("chi2_log_tail_", freedom))[i];
    if (std::isfinite(log_tail))  // SciPy's own tail underflows where ours goes on
      CHECK(log_chi_square_upper_tail(freedom, x[i]) == Approx(log_tail).epsilon(1e-9).margin(1e-15));
    CHECK(gamma_lower_tail(0.5 * freedom, 0.5 * x[i]) ==
          Approx(scipy.at(name("chi2_lower_", freedom))[i]).epsilon(1e-9).margin(1e-300));
  }
  const std::vector<double> chances{0.999, 0.5, 0.05, 1e-3, 1e-6, 1e-12};
  for (std::size_t i = 0; i < chances.size(); ++i)
    CHECK(chi_square_exceeded(freedom, chances[i]) ==
          Approx(scipy.at(name("chi2_exceeded_", freedom))[i]).epsilon(1e-9));
  const double other = 3.0 * freedom + 1.0;
  const std::vector<double> f_chances{0.9, 0.5, 0.05, 1e-3, 1e-6}, f_values{0.01, 0.5, 1, 1.5, 3, 10};
  for (std::size_t i = 0; i < f_chances.size(); ++i)
    CHECK(f_exceeded(freedom, other, f_chances[i]) ==
          Approx(scipy.at(name("f_exceeded_", freedom))[i]).epsilon(1e-7));
  for (std::size_t i = 0; i < f_values.size(); ++i)
    CHECK(f_upper_tail(freedom, other, f_values[i]) ==
          Approx(scipy.at(name("f_tail_", freedom))[i]).epsilon(1e-7).margin(1e-300));
}

}  // namespace

TEST_CASE("spectra, windows, tails, quantiles and whitening are those of SciPy on the same samples") {
  const auto samples = test_samples();
  const Rows scipy = scipy_on(samples);
  const std::span<const float> all(samples);

  constexpr double float_sums = 2e-6;
  const auto welch = [&](Frames frames) { return average_spectrum(all, rate_hz, frames).density; };
  CHECK(difference(welch({1024, 512, 1024, Window::hann}), scipy.at("welch_hann")) < float_sums);
  CHECK(difference(welch({500, 200, 1024, Window::hamming}), scipy.at("welch_hamming_padded")) < float_sums);
  CHECK(difference(welch({480, 480, 0, Window::blackman}), scipy.at("welch_blackman")) < float_sums);

  const auto weights = [](Window shape) { return window_weights(shape, 60); };
  CHECK(difference(weights(Window::rectangular), scipy.at("window_boxcar")) < 1e-7);
  CHECK(difference(weights(Window::triangular), scipy.at("window_bartlett")) < 1e-7);
  CHECK(difference(weights(Window::hann), scipy.at("window_hann")) < 1e-7);
  CHECK(difference(weights(Window::hamming), scipy.at("window_hamming")) < 1e-7);
  CHECK(difference(weights(Window::blackman), scipy.at("window_blackman")) < 1e-7);
  CHECK(difference(weights(Window::blackman_harris), scipy.at("window_blackmanharris")) < 1e-7);
  std::vector<double> kaiser_weights;
  for (int i = -30; i <= 30; ++i) kaiser_weights.push_back(kaiser(i / 30.0, 9.5));
  CHECK(difference(kaiser_weights, scipy.at("kaiser")) < 1e-12);

  for (const double freedom : {0.7, 1.0, 2.0, 3.3, 10.0, 57.0, 400.0, 5000.0}) check_tails(scipy, freedom);
  CHECK(fisher_combination(std::vector{0.3, 1e-9, 0.02, 0.8}) ==
        Approx(scipy.at("fisher")[0]).epsilon(1e-10));

  std::vector<double> quantiles;
  for (const double q : {0.0, 0.013, 0.25, 0.5, 0.77, 1.0}) quantiles.push_back(quantile(all, q));
  CHECK(difference(quantiles, scipy.at("quantiles")) < 1e-7);
  CHECK(median_absolute_deviation(all) == Approx(scipy.at("median_absolute_deviation")[0]).epsilon(1e-6));
  const auto smooth = running_median(all.first(500), 21);
  const auto& wanted = scipy.at("running_median");  // pads its ends with zeros: compare the inside
  for (std::size_t i = 10; i < 490; ++i) CHECK(static_cast<double>(smooth[i]) == wanted[i]);
  CHECK(difference(prewhitened(all.first(8000)), scipy.at("prewhitened")) < 1e-4);
}
