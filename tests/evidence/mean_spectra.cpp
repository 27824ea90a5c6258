#include "gearhark/evidence/mean_spectra.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <utility>

#include "../noise.hpp"

using namespace gearhark;

namespace {

constexpr double rate_hz = 16000.0, piece_s = 8.0;

AngleTrack steady(double turns_per_second) {
  return integrate(std::vector<double>(static_cast<std::size_t>(piece_s / 0.05) + 2, turns_per_second), 0.05);
}

// Noise with a burst 3.58 times per turn.
std::vector<float> bursts(double turns_per_second, double depth, std::uint32_t seed) {
  test::Noise noise(seed);
  std::vector<float> samples(static_cast<std::size_t>(piece_s * rate_hz));
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const double phase = 3.58 * turns_per_second * static_cast<double>(i) / rate_hz;
    const double since = phase - std::floor(phase);
    samples[i] = static_cast<float>(noise.gaussian() * (0.1 + depth * std::exp(-since * 12.0)));
  }
  return samples;
}

double power_at(const EnvelopeSpectra& spectra, double order) {
  const auto bin = static_cast<std::size_t>(std::lround(order * spectra.turns));
  return spectra.groups.back().mean(bin - 1, bin + 2);
}

EnvelopeSpectra mean_of(std::initializer_list<double> rates, double turns, double depth) {
  EnvelopeSettings settings;
  settings.turns = turns;
  MeanBandSpectra mean;
  std::uint32_t seed = 1;
  for (const double rate : rates) {
    const double weight = std::min(1.0, rate * piece_s / turns);
    for_each_band_level(bursts(rate, depth, seed++), steady(rate), nullptr, settings,
                        [&](const BandLevelSpectra& level) { mean.add_level(level, weight); });
    mean.end_piece(rate, weight);
  }
  return grouped(std::move(mean).mean(), {}, Order(0.5));
}

}  // namespace

TEST_CASE("pieces at other speeds share the orders of their mean") {
  const EnvelopeSpectra spectra = mean_of({8.0, 6.5, 10.0}, 64.0, 0.3);
  CHECK(spectra.turns == Approx(64.0));
  CHECK(power_at(spectra, 3.58) > 15.0);
  CHECK(power_at(spectra, 2 * 3.58) > 5.0);
  CHECK(power_at(spectra, 4.3) < 2.0);
}

TEST_CASE("the mean of noise has a background of one and spreads less than a piece of it") {
  const auto spread = [](const EnvelopeSpectra& spectra) {
    const GroupSpectrum& one_band = spectra.groups.front();
    double sum = 0.0, squares = 0.0, count = 0.0;
    for (std::size_t k = 40; k + 1 < one_band.bins(); ++k, ++count) {
      const double power = one_band.mean(k, k + 1);
      sum += power;
      squares += power * power;
    }
    CHECK(sum / count == Approx(1.0).margin(0.05));
    return squares / count - sum / count * (sum / count);
  };
  const double one = spread(mean_of({8.0}, 64.0, 0.0));
  const double four = spread(mean_of({8.0, 8.0, 8.0, 8.0}, 64.0, 0.0));
  CHECK(one == Approx(1.0).margin(0.15));
  CHECK(four < 0.35 * one);
}

TEST_CASE("bins that few pieces reach are left out of the mean") {
  MeanOfBins mean;
  mean.add(std::vector<float>{2.0F, 4.0F, 6.0F}, 1.0F);
  mean.add(std::vector<float>{4.0F, 2.0F}, 1.0F);
  mean.add(std::vector<float>{3.0F}, 4.0F);
  CHECK(std::move(mean).mean() == std::vector<float>{3.0F, 3.0F});  // the third bin has a sixth of the weight
}

TEST_CASE("a tone that turns with the shaft stands at its order in the mean of pieces") {
  MeanOrderSpectrum mean;
  std::uint32_t seed = 5;
  for (const double rate : {8.0, 7.0, 9.0}) {
    test::Noise noise(seed++);
    std::vector<float> samples(static_cast<std::size_t>(piece_s * rate_hz));
    for (std::size_t i = 0; i < samples.size(); ++i)
      samples[i] =
          static_cast<float>(0.1 * noise.gaussian() + 0.05 * std::sin(2.0 * 3.14159265358979 * 21.0 * rate *
                                                                      static_cast<double>(i) / rate_hz));
    mean.add(order_spectrum(samples, rate_hz, steady(rate), 64.0), 1.0);
  }
  const OrderSpectrum spectrum = std::move(mean).mean();
  CHECK(spectrum.pieces == Approx(3.0));
  CHECK(spectrum.strength(21.0, spectrum.usual_half_width(21.0)).chance < 1e-6);
  CHECK(spectrum.strength(23.5, spectrum.usual_half_width(23.5)).chance > 1e-3);
}
