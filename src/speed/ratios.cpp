#include "ratios.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "gearhark/signal/fft.hpp"

namespace gearhark::tracking {
namespace {

double log_bayes_factor(double ratio) {
  double sum = 0.0;
  for (double xi : {1.0, 3.0, 10.0, 30.0, 100.0, 300.0})
    sum += std::exp(ratio * xi / (1.0 + xi)) / (1.0 + xi);
  return std::log(sum / 6.0);
}

constexpr std::size_t kTableSize = 1024;
constexpr float kTableStep = 0.01f;

const std::array<std::uint8_t, kTableSize>& code_table() {
  static const auto table = [] {
    std::array<std::uint8_t, kTableSize> codes{};
    for (std::size_t i = 0; i < kTableSize; ++i) {
      const double log_factor =
          std::min(log_bayes_factor((static_cast<double>(i) + 0.5) * kTableStep), BayesCode::kHigh);
      codes[i] = static_cast<std::uint8_t>(
          std::lround((log_factor - BayesCode::kLow) / (BayesCode::kHigh - BayesCode::kLow) * 255.0));
    }
    return codes;
  }();
  return table;
}

float median_of(std::span<const float> values, std::vector<float>& scratch) {
  scratch.assign(values.begin(), values.end());
  const auto middle = scratch.begin() + static_cast<std::ptrdiff_t>(scratch.size() / 2);
  std::nth_element(scratch.begin(), middle, scratch.end());
  return *middle;
}

// In noise the power is exponentially distributed: mean = median / ln 2.
void divide_by_background(std::span<float> power, double bin_hz, std::vector<float>& scratch) {
  const auto step = static_cast<std::size_t>(std::max(1.0, 50.0 / bin_hz)), width = 3 * step;
  std::vector<float> knots;
  for (std::size_t centre = 0; centre < power.size() + step; centre += step) {
    const std::size_t from = centre > width / 2 ? std::min(centre - width / 2, power.size() - width) : 0;
    knots.push_back(median_of(power.subspan(from, std::min(width, power.size() - from)), scratch) /
                    std::numbers::ln2_v<float>);
  }
  const float tiny = 1e-20f;
  for (std::size_t i = 0; i < power.size(); ++i) {
    const std::size_t k = i / step;
    const float u = static_cast<float>(i % step) / static_cast<float>(step);
    power[i] /= knots[k] + u * (knots[k + 1] - knots[k]) + tiny;
  }
}

struct Frames {
  std::size_t window, hop, count, transform, bins;
  double bin_hz;
};

Frames plan_frames(const FlatSound& flat, Framing framing) {
  Frames f{};
  f.window = static_cast<std::size_t>(framing.window_s * flat.rate);
  f.hop = static_cast<std::size_t>(std::lround(framing.hop_s * flat.rate));
  f.transform = good_length(2 * f.window);
  f.bin_hz = flat.rate / static_cast<double>(f.transform);
  f.bins = std::min(f.transform / 2, static_cast<std::size_t>(kHighestHz / f.bin_hz) + 8);
  f.count = flat.samples.size() < f.window ? 0 : 1 + (flat.samples.size() - f.window) / f.hop;
  return f;
}

std::vector<float> hann(std::size_t n) {
  std::vector<float> w(n);
  for (std::size_t i = 0; i < n; ++i)
    w[i] = static_cast<float>(0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * (static_cast<double>(i) + 0.5) /
                                                   static_cast<double>(n)));
  return w;
}

// Calls use(frame index, power of f.bins bins) for every frame.
template <class Use>
void each_spectrum(const FlatSound& flat, const Frames& f, Use use) {
  const std::vector<float> window = hann(f.window);
  const RealFft fft(f.transform);
  std::vector<float> time(f.transform, 0.0f), power(f.bins);
  std::vector<std::complex<float>> bins(f.transform / 2 + 1);
  for (std::size_t i = 0; i < f.count; ++i) {
    const float* x = flat.samples.data() + i * f.hop;
    for (std::size_t k = 0; k < f.window; ++k) time[k] = x[k] * window[k];
    fft.forward(time, bins);
    for (std::size_t k = 0; k < f.bins; ++k) power[k] = std::norm(bins[k]);
    use(i, std::span<float>(power));
  }
}

}  // namespace

std::uint8_t BayesCode::of_ratio(float ratio) {
  const float position = ratio / kTableStep;
  return code_table()[position < static_cast<float>(kTableSize - 1) ? static_cast<std::size_t>(position)
                                                                    : kTableSize - 1];
}

Ratios line_ratios(const FlatSound& flat, Framing framing) {
  const Frames f = plan_frames(flat, framing);
  Ratios out;
  out.frame_step_s = static_cast<double>(f.hop) / flat.rate;
  out.first_frame_s = 0.5 * static_cast<double>(f.window) / flat.rate;
  out.bin_hz = f.bin_hz;
  out.lowest_hz = framing.lowest_hz;
  out.frames = f.count;
  out.bins = f.bins;
  out.codes.resize(f.count * f.bins);
  std::vector<float> scratch;
  double near = 0.0;
  each_spectrum(flat, f, [&](std::size_t i, std::span<float> power) {
    divide_by_background(power, f.bin_hz, scratch);
    // Above what the recording holds at this moment there is nothing to compare.
    const double tau = out.time_of(i);
    near = flat.track.time_of(tau * flat.mean_rate, near);
    const double top = 0.46 * flat.rate * flat.mean_rate / flat.track.rate_at(near);
    const auto usable =
        static_cast<std::size_t>(std::clamp(top / f.bin_hz, 0.0, static_cast<double>(f.bins)));
    std::uint8_t* codes = out.codes.data() + i * f.bins;
    for (std::size_t k = 0; k < usable; ++k) codes[k] = BayesCode::of_ratio(power[k]);
    std::fill(codes + usable, codes + f.bins, BayesCode::neutral());
  });
  return out;
}

}  // namespace gearhark::tracking
