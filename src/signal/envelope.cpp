#include "gearhark/signal/envelope.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "gearhark/signal/fft.hpp"
#include "gearhark/signal/statistics.hpp"

namespace gearhark {
namespace {

using Bins = std::vector<std::complex<float>>;

struct Spectrum {
  RealFft fft;
  Bins bins;
};

// The whole signal, zeros added up to a good length.
Spectrum spectrum_of(std::span<const float> samples) {
  std::vector<float> padded(good_length(samples.size()), 0.0f);
  std::copy(samples.begin(), samples.end(), padded.begin());
  Spectrum out{RealFft(padded.size()), Bins(padded.size() / 2 + 1)};
  out.fft.forward(padded, out.bins);
  return out;
}

// 0 outside low..high, 1 inside, raised cosines over `slope` within the edges.
double band_weight(double f, double low, double high, double slope) {
  const double depth = std::min(f - low, high - f);
  if (depth < 0.0) return 0.0;
  return depth >= slope ? 1.0 : 0.5 - 0.5 * std::cos(std::numbers::pi * depth / slope);
}

// Sums of the second and fourth power of all frames' magnitudes, by bin.
struct Moments {
  explicit Moments(const Frames& frames)
      : fft(window_weights(frames.window, frames.length), frame_points(frames)),
        second(fft.bins(), 0.0),
        fourth(fft.bins(), 0.0) {}
  [[nodiscard]] std::vector<float> kurtosis(std::size_t frames) const {
    std::vector<float> out(second.size(), 0.0f);
    for (std::size_t k = 0; frames >= 2 && k < out.size(); ++k)
      if (second[k] > 0.0)
        out[k] = static_cast<float>(static_cast<double>(frames) * fourth[k] / (second[k] * second[k]) - 2.0);
    return out;
  }
  FrameFft fft;
  std::vector<double> second, fourth;
};

Frames half_overlapping(std::size_t window) { return {window, window / 2, 0, Window::hann}; }

}  // namespace

std::vector<float> band_envelope(std::span<const float> samples, double rate_hz, Hertz low, Hertz high) {
  if (samples.empty()) return {};
  const Spectrum spectrum = spectrum_of(samples);
  const std::size_t points = spectrum.fft.length();
  const double bin_hz = rate_hz / static_cast<double>(points);
  const double from = std::max(0.0, low.value()), to = std::min(0.5 * rate_hz, high.value());

  Bins analytic(points, 0.0f), out(points);
  for (std::size_t k = 0; k < spectrum.bins.size(); ++k) {
    const double one_sided = k == 0 || 2 * k == points ? 1.0 : 2.0;
    const double weight =
        one_sided * band_weight(static_cast<double>(k) * bin_hz, from, to, 0.1 * (to - from));
    analytic[k] = static_cast<float>(weight) * spectrum.bins[k];
  }
  Fft(points).inverse(analytic, out);

  std::vector<float> envelope(samples.size());
  for (std::size_t i = 0; i < envelope.size(); ++i) envelope[i] = std::sqrt(std::norm(out[i]));
  return envelope;
}

void compress_power(std::vector<float>& power, std::size_t width) {
  constexpr float silence = 1e-20f;
  for_moving_average(power, width, [&](std::size_t first, std::span<const float> usual) {
    for (std::size_t i = 0; i < usual.size(); ++i) power[first + i] /= usual[i] + silence;
  });
  take_logs(power, 1.0f);
}

std::vector<float> spectral_kurtosis(std::span<const float> samples, const Frames& frames) {
  Moments moments(frames);
  moments.fft.add_moments(samples, frames.hop, moments.second, moments.fourth);
  return moments.kurtosis(frame_count(samples.size(), frames));
}

std::vector<std::vector<float>> kurtogram(std::span<const float> samples,
                                          std::span<const std::size_t> windows) {
  std::vector<Moments> moments;
  for (const std::size_t window : windows) moments.emplace_back(half_overlapping(window));
  std::vector<MomentSums> sums;
  for (std::size_t i = 0; i < windows.size(); ++i)
    sums.push_back({moments[i].fft, half_overlapping(windows[i]).hop, moments[i].second, moments[i].fourth});
  add_moments(samples, sums);
  std::vector<std::vector<float>> out;
  for (std::size_t i = 0; i < windows.size(); ++i)
    out.push_back(moments[i].kurtosis(frame_count(samples.size(), half_overlapping(windows[i]))));
  return out;
}

double kurtosis_in_noise(double kurtosis, double noise_to_signal) {
  return kurtosis / ((1.0 + noise_to_signal) * (1.0 + noise_to_signal));
}

std::vector<float> prewhitened(std::span<const float> samples) {
  if (samples.empty()) return {};
  Spectrum spectrum = spectrum_of(samples);
  // Unit magnitude in every bin is a mean square of 1 / points.
  const auto magnitude = std::sqrt(static_cast<float>(spectrum.fft.length()));
  for (auto& bin : spectrum.bins) {
    const float size = std::sqrt(std::norm(bin));
    bin *= size > 0.0f ? magnitude / size : 0.0f;
  }
  std::vector<float> white(spectrum.fft.length());
  spectrum.fft.inverse(spectrum.bins, white);
  white.resize(samples.size());
  return white;
}

}  // namespace gearhark
