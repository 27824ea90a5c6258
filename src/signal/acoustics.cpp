#include "gearhark/signal/acoustics.hpp"

#include <algorithm>
#include <cmath>

namespace gearhark {
namespace {

// The poles of IEC 61672-1, Hz.
constexpr double pole1 = 20.598997, pole2 = 107.65265, pole3 = 737.86223, pole4 = 12194.217;

double a_weighting_gain(double f) {
  const double ff = f * f;
  return pole4 * pole4 * ff * ff /
         ((ff + pole1 * pole1) * std::sqrt((ff + pole2 * pole2) * (ff + pole3 * pole3)) *
          (ff + pole4 * pole4));
}

// Below this the lower neighbour of a critical band would reach under 20 Hz.
constexpr double truncated_below_hz = 171.4;

// Sum of the bins in a band, the bins at its edges by the part inside.
double band_power(std::span<const float> power, double bin_hz, Band band) {
  const double low = std::max(0.0, band.low.value() / bin_hz + 0.5);
  const double high = std::min(static_cast<double>(power.size()), band.high.value() / bin_hz + 0.5);
  double sum = 0.0;
  for (auto k = static_cast<std::size_t>(low); static_cast<double>(k) < high; ++k) {
    const double inside = std::min(high, static_cast<double>(k + 1)) - std::max(low, static_cast<double>(k));
    sum += inside * static_cast<double>(power[k]);
  }
  return sum;
}

double width(Band band) { return (band.high - band.low).value(); }

}  // namespace

Decibels a_weighting(Hertz frequency) {
  return Decibels::of_amplitude_ratio(a_weighting_gain(frequency.value()) / a_weighting_gain(1000.0));
}

Hertz third_octave_midband(int bands) { return Hertz(1000.0 * std::pow(10.0, bands / 10.0)); }

Band third_octave_band(int bands) {
  const double edge = std::pow(10.0, 0.05);
  const Hertz middle = third_octave_midband(bands);
  return {middle / edge, middle * edge};
}

Hertz critical_bandwidth(Hertz centre) {
  const double khz = centre.value() / 1000.0;
  return Hertz(25.0 + 75.0 * std::pow(1.0 + 1.4 * khz * khz, 0.69));
}

Band critical_band(Hertz centre) {
  const double f = centre.value(), half = 0.5 * critical_bandwidth(centre).value();
  if (f < 500.0) return {Hertz(f - half), Hertz(f + half)};
  const double low = std::sqrt(half * half + f * f) - half;
  return {Hertz(low), Hertz(low + 2.0 * half)};
}

Band critical_band_below(Hertz centre) {
  const double f = centre.value();
  const double low = f < truncated_below_hz ? 20.0
                     : f <= 1600.0          ? -149.5 + 1.001 * f - 6.9e-5 * f * f
                                            : 6.8 + 0.806 * f - 8.2e-6 * f * f;
  return {Hertz(low), critical_band(centre).low};
}

Band critical_band_above(Hertz centre) {
  const double f = centre.value();
  const double high = f <= 1600.0 ? 149.5 + 1.035 * f + 7.7e-5 * f * f : 3.3 + 1.215 * f + 2.16e-5 * f * f;
  return {critical_band(centre).high, Hertz(high)};
}

bool tone_can_be_judged(Hertz frequency) {
  return frequency >= third_octave_band(-10).low && frequency <= third_octave_band(10).high;
}

Decibels prominent_tone_to_noise(Hertz frequency) {
  return Decibels::already(8.0 + 8.33 * std::max(0.0, std::log10(1000.0 / frequency.value())));
}

Decibels prominent_ratio(Hertz frequency) {
  return Decibels::already(9.0 + 10.0 * std::max(0.0, std::log10(1000.0 / frequency.value())));
}

Decibels prominence_ratio(std::span<const float> power, double bin_hz, Hertz centre) {
  const Band below = critical_band_below(centre);
  double low = band_power(power, bin_hz, below);
  if (centre.value() <= truncated_below_hz) low *= 100.0 / width(below);
  const double high = band_power(power, bin_hz, critical_band_above(centre));
  return Decibels::of_power_ratio(band_power(power, bin_hz, critical_band(centre)) / (0.5 * (low + high)));
}

Decibels tone_to_noise(std::span<const float> power, double bin_hz, Band tone) {
  const Band whole = critical_band(0.5 * (tone.low + tone.high));
  const double in_tone = band_power(power, bin_hz, tone);
  const double beside = band_power(power, bin_hz, whole) - in_tone;
  const double density = beside / (width(whole) - width(tone));
  return Decibels::of_power_ratio(std::max(0.0, in_tone - density * width(tone)) / (density * width(whole)));
}

}  // namespace gearhark
