#include "steady_orders.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "gearhark/signal/fft.hpp"

namespace gearhark::tracking {
namespace {

constexpr double kWindow = 1.0;  // s

float median_of(std::vector<float>& values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

// Amplitude factor for every bin: down by the median over time against the 41 bins around.
std::vector<float> gains(const std::vector<std::vector<float>>& power_over_time) {
  const std::size_t bins = power_over_time.size();
  std::vector<float> usual(bins), gain(bins, 1.0f), scratch;
  for (std::size_t k = 0; k < bins; ++k) {
    scratch = power_over_time[k];
    usual[k] = median_of(scratch);
  }
  for (std::size_t k = 0; k < bins; ++k) {
    const std::size_t from = k > 20 ? k - 20 : 0, to = std::min(bins, k + 21);
    scratch.assign(usual.begin() + static_cast<std::ptrdiff_t>(from),
                   usual.begin() + static_cast<std::ptrdiff_t>(to));
    const float around = median_of(scratch);
    if (usual[k] > 1.6f * around) gain[k] = std::sqrt(around / usual[k]);
  }
  return gain;
}

}  // namespace

Sound without_steady_orders(const Sound& sound, const AngleTrack& shaft) {
  FlatSound flat = flatten(sound, shaft);
  const std::size_t length = good_length(static_cast<std::size_t>(kWindow * flat.rate)), hop = length / 4;
  if (flat.samples.size() < 4 * length) return sound;
  const RealFft fft(length);
  std::vector<float> window(length), time(length);
  for (std::size_t i = 0; i < length; ++i)
    window[i] = static_cast<float>(
        0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(length)));
  std::vector<std::complex<float>> bins(length / 2 + 1);
  const std::size_t frames = 1 + (flat.samples.size() - length) / hop,
                    stride = std::max<std::size_t>(1, frames / 120);
  std::vector<std::vector<float>> history(bins.size());
  const auto spectrum = [&](std::size_t frame) {
    for (std::size_t i = 0; i < length; ++i) time[i] = window[i] * flat.samples[frame * hop + i];
    fft.forward(time, bins);
  };
  for (std::size_t frame = 0; frame < frames; frame += stride) {
    spectrum(frame);
    for (std::size_t k = 0; k < bins.size(); ++k) history[k].push_back(std::norm(bins[k]));
  }
  const std::vector<float> gain = gains(history);
  std::vector<float> removed(flat.samples.size(), 0.0f);
  for (std::size_t frame = 0; frame < frames; ++frame) {
    spectrum(frame);
    for (std::size_t k = 0; k < bins.size(); ++k) bins[k] *= 1.0f - gain[k];
    fft.inverse(bins, time);
    // Hann squared at a quarter of its length overlaps to 1.5.
    for (std::size_t i = 0; i < length; ++i) removed[frame * hop + i] += time[i] * window[i] / 1.5f;
  }
  for (std::size_t i = 0; i < removed.size(); ++i) flat.samples[i] -= removed[i];
  return unflattened(flat);
}

}  // namespace gearhark::tracking
