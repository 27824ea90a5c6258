#include "gearhark/evidence/order_spectrum.hpp"

#include <algorithm>
#include <cmath>

#include "gearhark/evidence/angle_grid.hpp"
#include "gearhark/signal/distributions.hpp"
#include "gearhark/signal/fft.hpp"
#include "gearhark/signal/statistics.hpp"

namespace gearhark {
namespace {

std::vector<float> level_normalised(std::span<const float> samples, double rate_hz) {
  std::vector<float> power(samples.size());
  for (std::size_t i = 0; i < samples.size(); ++i) power[i] = samples[i] * samples[i];
  const auto half_a_second = static_cast<std::size_t>(0.5 * rate_hz);
  for_moving_average(power, half_a_second, [&](std::size_t first, std::span<const float> mean) {
    for (std::size_t i = 0; i < mean.size(); ++i)
      power[first + i] = samples[first + i] / std::sqrt(mean[i] + 1e-12f);
  });
  return power;
}

}  // namespace

std::size_t OrderSpectrum::bin(double order) const {
  return std::min(static_cast<std::size_t>(std::max(0.0, std::round(order * turns))), power.size() - 1);
}

double OrderSpectrum::usual_half_width(double order) const { return (2.0 + 0.0006 * order * turns) / turns; }

double OrderSpectrum::line_excess(double order, double half_width_orders) const {
  const std::size_t from = bin(order - half_width_orders), to = bin(order + half_width_orders) + 1;
  if (to >= power.size()) return 0.0;
  double excess = 0.0;
  for (std::size_t k = from; k < to; ++k) excess += static_cast<double>(power[k] / background[k]) - 1.0;
  return std::max(0.0, excess);
}

OrderSpectrum::Strength OrderSpectrum::strength(double order, double half_width_orders) const {
  const std::size_t from = bin(order - half_width_orders), to = bin(order + half_width_orders) + 1;
  if (to >= power.size()) return {};
  const auto bins = static_cast<double>(to - from);
  double mean = 0.0;
  for (std::size_t k = from; k < to; ++k) mean += static_cast<double>(power[k] / background[k]) / bins;
  // Neighbouring bins of a Hann window are correlated: 1.94 bins count as one.
  const double freedom = pieces * bins / (1.94 - 0.94 / bins);
  return {mean, gamma_upper_tail(freedom, freedom * mean)};
}

OrderSpectrum order_spectrum(std::span<const float> samples, double rate_hz, const AngleTrack& reference,
                             std::optional<double> turns) {
  const EqualAngle grid =
      equal_angle(reference, static_cast<double>(samples.size() - 1) / rate_hz, rate_hz, turns);
  std::vector<float> by_angle = by_equal_angle(level_normalised(samples, rate_hz), rate_hz, reference,
                                               grid.first_turn, grid.step(), grid.reached);
  taper(by_angle, by_angle.size());
  by_angle.resize(grid.points, 0.0f);
  OrderSpectrum spectrum;
  spectrum.turns = grid.turns;
  spectrum.mean_rate = reference.mean_rate();
  spectrum.power.resize(by_angle.size() / 2 + 1);
  RealFft(by_angle.size()).power(by_angle, spectrum.power);
  const auto width = std::max<std::size_t>(41, static_cast<std::size_t>(1.5 * grid.turns));
  spectrum.background = exponential_background(spectrum.power, width);
  for (float& value : spectrum.background) value += 1e-20f;
  return spectrum;
}

}  // namespace gearhark
