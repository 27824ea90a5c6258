// Frames and averaged spectra: their layout, their energy, and what doubling a speed does to them.
#include "gearhark/signal/spectrum.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

using namespace gearhark;

namespace {

std::vector<float> tone(double hz, double rate_hz, std::size_t count) {
  std::vector<float> out(count);
  for (std::size_t i = 0; i < count; ++i)
    out[i] = static_cast<float>(std::sin(2.0 * std::numbers::pi * hz * static_cast<double>(i) / rate_hz));
  return out;
}

double peak_hz(const PowerDensity& spectrum) {
  const auto top = std::max_element(spectrum.density.begin(), spectrum.density.end());
  return spectrum.bin_hz * static_cast<double>(top - spectrum.density.begin());
}

}  // namespace

TEST_CASE("frames come in order, each once, only while they fit") {
  const Frames frames{100, 30, 0, Window::rectangular};
  CHECK(frame_points(frames) == 100);
  CHECK(frame_count(99, frames) == 0);
  CHECK(frame_count(100, frames) == 1);
  CHECK(frame_count(129, frames) == 1);
  CHECK(frame_count(130, frames) == 2);
  // A step from 0 to 1 at sample 400: the first bin of a frame counts the ones in it.
  std::vector<float> step(1000, 0.0f);
  std::fill(step.begin() + 400, step.end(), 1.0f);
  std::size_t next = 0;
  for_each_frame(step, frames, [&](std::size_t frame, auto bins) {
    CHECK(frame == next++);
    REQUIRE(bins.size() == 51);
    const double ones = std::clamp(static_cast<double>(frame) * 30.0 + 100.0 - 400.0, 0.0, 100.0);
    CHECK(bins[0].real() == Approx(ones).margin(1e-4));
  });
  CHECK(next == frame_count(1000, frames));
  CHECK(next == 31);
}

TEST_CASE("the averaged spectrum of white noise is flat at its variance over half the rate") {
  std::mt19937 random(6);
  std::normal_distribution<float> noise(0.0f, 3.0f);
  std::vector<float> samples(1u << 18);
  double square = 0.0;
  for (auto& x : samples) {
    x = noise(random);
    square += static_cast<double>(x) * static_cast<double>(x) / static_cast<double>(samples.size());
  }
  const auto spectrum = average_spectrum(samples, 8000.0, {512, 256});
  double sum = 0.0, spread = 0.0;
  for (const float d : spectrum.density) sum += spectrum.bin_hz * static_cast<double>(d);
  CHECK(sum == Approx(square).epsilon(0.01));  // Parseval, but for the samples at the ends
  const double level = 9.0 / 4000.0;
  for (std::size_t k = 1; k < 256; ++k) {
    const double relative = static_cast<double>(spectrum.density[k]) / level - 1.0;
    CHECK(std::abs(relative) < 6.0 * std::sqrt(2.0 / spectrum.freedom));
    spread += relative * relative / 255.0;
  }
  // The variance of a bin is 2 / freedom of its mean squared; 255 bins know it within 20 % (two sd).
  CHECK(spread == Approx(2.0 / spectrum.freedom).epsilon(0.3));
}

TEST_CASE("a tone on a bin of amplitude a has power a^2/2 in the averaged spectrum") {
  const auto spectrum = average_spectrum(tone(1000.0, 8000.0, 80000), 8000.0, {800, 400});
  CHECK(peak_hz(spectrum) == Approx(1000.0));
  double power = 0.0;
  for (const float d : spectrum.density) power += spectrum.bin_hz * static_cast<double>(d);
  CHECK(power == Approx(0.5).epsilon(1e-4));
}

TEST_CASE("played at twice the rate every frequency doubles and no level changes") {
  const auto samples = tone(440.0, 8000.0, 40000);
  const auto once = average_spectrum(samples, 8000.0, {1000, 500});
  const auto twice = average_spectrum(samples, 16000.0, {1000, 500});
  CHECK(peak_hz(twice) == Approx(2.0 * peak_hz(once)));
  for (std::size_t k = 0; k < once.density.size(); ++k)
    CHECK(static_cast<double>(twice.density[k]) * twice.bin_hz ==
          Approx(static_cast<double>(once.density[k]) * once.bin_hz).epsilon(1e-5).margin(1e-12));
}

TEST_CASE("a signal shorter than a frame has no averages and a spectrum of zeros") {
  const auto spectrum = average_spectrum(std::vector<float>(10, 1.0f), 8000.0, {64, 32});
  CHECK(spectrum.averages == 0);
  CHECK(spectrum.freedom == 0.0);
  CHECK(spectrum.density == std::vector<float>(33, 0.0f));
}
