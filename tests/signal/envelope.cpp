// Envelopes, spectral kurtosis and whitening against closed forms.
#include "gearhark/signal/envelope.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <numbers>
#include <random>

#include "../noise.hpp"
#include "gearhark/signal/fft.hpp"

using namespace gearhark;
using test::noise;

namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;
constexpr double rate_hz = 16000.0;

// Mean over the bins well inside, where noise is complex and Gaussian.
double mean_inside(std::span<const float> values) {
  double sum = 0.0;
  for (std::size_t k = 4; k + 4 < values.size(); ++k) sum += static_cast<double>(values[k]);
  return sum / static_cast<double>(values.size() - 8);
}

double correlation(const std::vector<float>& a, const std::vector<float>& b) {
  double sa = 0.0, sb = 0.0, aa = 0.0, bb = 0.0, ab = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i) {
    const auto x = static_cast<double>(a[i]), y = static_cast<double>(b[i]);
    sa += x, sb += y, aa += x * x, bb += y * y, ab += x * y;
  }
  const auto n = static_cast<double>(a.size());
  return (n * ab - sa * sb) / std::sqrt((n * aa - sa * sa) * (n * bb - sb * sb));
}

// Noise whose level is 1 for a share of the frames and 0 for the rest: Gaussian given the level.
std::vector<float> rare_bursts(std::size_t frames, std::size_t length, double share, unsigned seed) {
  auto out = noise(frames * length, seed);
  std::mt19937 random(seed + 1);
  std::bernoulli_distribution on(share);
  for (std::size_t f = 0; f < frames; ++f)
    if (!on(random)) std::fill_n(out.begin() + static_cast<std::ptrdiff_t>(f * length), length, 0.0f);
  return out;
}

}  // namespace

TEST_CASE("the envelope of a modulated carrier is its modulation, whatever stands outside the band") {
  std::vector<float> samples(16000);
  const auto modulation = [](double t) { return 1.0 + 0.5 * std::cos(two_pi * 87.0 * t); };
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const double t = static_cast<double>(i) / rate_hz;
    samples[i] = static_cast<float>(modulation(t) * std::sin(two_pi * 3000.0 * t) +
                                    3.0 * std::sin(two_pi * 500.0 * t) + 2.0 * std::cos(two_pi * 6000.0 * t));
  }
  const auto envelope = band_envelope(samples, rate_hz, Hertz(2000.0), Hertz(4000.0));
  REQUIRE(envelope.size() == samples.size());
  for (std::size_t i = 200; i < samples.size() - 200; ++i)
    REQUIRE(static_cast<double>(envelope[i]) ==
            Approx(modulation(static_cast<double>(i) / rate_hz)).margin(2e-3));
  CHECK(band_envelope({}, rate_hz, Hertz(100.0), Hertz(200.0)).empty());
}

TEST_CASE("spectral kurtosis is 0 for stationary noise and -1 for a steady tone") {
  // Antoni 2006. 4000 frames: the mean over 120 bins of m4/m2^2 - 2 has a standard error near 0.003.
  const Frames frames{256, 256, 256, Window::hann};
  CHECK(mean_inside(spectral_kurtosis(noise(4000 * 256, 1), frames)) == Approx(0.0).margin(0.015));
  std::vector<float> tone(40000);
  for (std::size_t i = 0; i < tone.size(); ++i)
    tone[i] = static_cast<float>(std::sin(two_pi * 32.3 / 256.0 * static_cast<double>(i)));
  constexpr std::size_t windows[] = {16, 256, 64};
  const auto side_by_side = kurtogram(noise(300001, 1), windows);
  for (std::size_t i = 0; i < side_by_side.size(); ++i) {
    const auto alone = spectral_kurtosis(noise(300001, 1), {windows[i], windows[i] / 2, 0, Window::hann});
    REQUIRE(side_by_side[i].size() == alone.size());
    for (std::size_t k = 0; k < alone.size(); ++k) CHECK(side_by_side[i][k] == Approx(alone[k]).margin(1e-5));
  }
  CHECK(spectral_kurtosis(tone, frames)[32] == Approx(-1.0).margin(1e-3));
  CHECK(spectral_kurtosis(std::vector<float>(300, 1.0f), frames) == std::vector<float>(129, 0.0f));
}

TEST_CASE("rare bursts keep the kurtosis that the closed form leaves them in noise") {
  // Frames on with chance s: m4/m2^2 = 2/s, so SK = 2/s - 2; in noise of rho times the mean power
  // SK/(1+rho)^2.
  const double share = 0.1;
  const Frames frames{128, 128, 128, Window::rectangular};
  const auto bursts = rare_bursts(20000, 128, share, 3);
  const auto background = noise(bursts.size(), 5);
  const double alone = mean_inside(spectral_kurtosis(bursts, frames));
  CHECK(alone == Approx(2.0 / share - 2.0).epsilon(0.05));
  for (const double ratio : {0.5, 1.0, 3.0}) {
    std::vector<float> mixed(bursts.size());
    for (std::size_t i = 0; i < mixed.size(); ++i)
      mixed[i] = bursts[i] + static_cast<float>(std::sqrt(ratio * share)) * background[i];
    INFO("noise to signal " << ratio);
    CHECK(mean_inside(spectral_kurtosis(mixed, frames)) ==
          Approx(kurtosis_in_noise(alone, ratio)).epsilon(0.05));
  }
}

TEST_CASE("whitening gives every bin the same magnitude and the signal a mean square of one") {
  auto samples = noise(4096, 8);
  for (std::size_t i = 0; i < samples.size(); ++i)
    samples[i] += 50.0f * static_cast<float>(std::sin(0.4 * static_cast<double>(i)));
  const auto white = prewhitened(samples);
  REQUIRE(white.size() == samples.size());
  std::vector<std::complex<float>> bins(2049);
  RealFft(4096).forward(white, bins);
  for (const auto& bin : bins) REQUIRE(std::abs(bin) == Approx(64.0f).epsilon(1e-3));
  double square = 0.0;
  for (const float x : white) square += static_cast<double>(x) * static_cast<double>(x) / 4096.0;
  CHECK(square == Approx(1.0).epsilon(1e-4));
  CHECK(prewhitened(std::vector<float>(100, 0.0f)) == std::vector<float>(100, 0.0f));
}

TEST_CASE("whitening hides a strong steady tone and leaves clicks where they were") {
  std::vector<float> samples = noise(8000, 9);
  for (std::size_t i = 0; i < samples.size(); ++i)
    samples[i] = 0.01f * samples[i] + static_cast<float>(std::sin(two_pi * 0.1 * static_cast<double>(i)));
  for (std::size_t i = 300; i < samples.size(); i += 1000) samples[i] += 0.5f;
  const auto white = prewhitened(samples);
  for (std::size_t i = 300; i < white.size(); i += 1000) CHECK(white[i] > 4.0f);
}

TEST_CASE("compressed power follows faint changes of noise nearly as well as power itself") {
  // log(1 + x), x exponential: squared correlation with x 0.924 by numerical integration; of log(x) it is
  // 6/pi^2.
  test::Noise source(10);
  std::vector<float> power(400000);
  for (float& x : power) x = 3.0f * static_cast<float>(source.exponential());
  std::vector<float> compressed = power;
  compress_power(compressed, power.size());
  const double with_power = correlation(power, compressed);
  CHECK(with_power * with_power == Approx(0.924).margin(0.005));
  std::vector<float> logarithm = power;
  for (float& x : logarithm) x = std::log(x);
  const double of_logarithm = correlation(power, logarithm);
  CHECK(of_logarithm * of_logarithm == Approx(6.0 / (std::numbers::pi * std::numbers::pi)).margin(0.005));
}

TEST_CASE("compressed power does not depend on level, and silence stays zero") {
  std::vector<float> power = noise(2000, 11), silence(2000, 0.0f);
  for (float& x : power) x *= x;
  std::vector<float> louder = power;
  for (float& x : louder) x *= 1000.0f;
  compress_power(power, 200);
  compress_power(louder, 200);
  for (std::size_t i = 0; i < power.size(); ++i)
    REQUIRE(louder[i] == Approx(power[i]).epsilon(1e-4).margin(1e-5));
  compress_power(silence, 200);
  CHECK(silence == std::vector<float>(2000, 0.0f));
}
