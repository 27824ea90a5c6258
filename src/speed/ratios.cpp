#include "ratios.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "gearhark/signal/fft.hpp"
#include "gearhark/signal/statistics.hpp"
#include "wide/wide.hpp"

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

std::uint8_t code_in(const std::array<std::uint8_t, kTableSize>& table, float ratio) {
  const float position = std::min(ratio * (1.0f / kTableStep), static_cast<float>(kTableSize - 1));
  return table[static_cast<std::size_t>(static_cast<int>(position))];
}

// The power of a batch of frames, [bin][frame], over its background as places in the table. In noise the
// power is exponentially distributed: mean = median / ln 2.
void places_of(std::span<const float> power, double bin_hz, std::span<int> places) {
  constexpr std::size_t frames = FrameFft::batch;
  const std::size_t bins = power.size() / frames;
  const auto step = static_cast<std::size_t>(std::max(1.0, 50.0 / bin_hz)), width = std::min(3 * step, bins);
  std::vector<LaneValues> knots;
  for (std::size_t centre = 0; centre < bins + step; centre += step) {
    const std::size_t from = centre > width / 2 ? std::min(centre - width / 2, bins - width) : 0;
    knots.push_back(lane_rank(power.subspan(from * frames, width * frames), width / 2));
    for (float& value : knots.back()) value /= std::numbers::ln2_v<float>;
  }
  wide().over_background(power.data(), bins, step, knots.front().data(), 1.0f / kTableStep,
                         static_cast<float>(kTableSize - 1), places.data());
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
  f.bins = std::min(f.transform / 2, static_cast<std::size_t>(framing.highest_hz / f.bin_hz) + 8);
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

}  // namespace

std::uint8_t BayesCode::of_ratio(float ratio) { return code_in(code_table(), ratio); }

Ratios line_ratios(const FlatSound& flat, Framing framing) {
  const Frames f = plan_frames(flat, framing);
  Ratios out;
  out.frame_step_s = static_cast<double>(f.hop) / flat.rate;
  out.first_frame_s = 0.5 * static_cast<double>(f.window) / flat.rate;
  out.bin_hz = f.bin_hz;
  out.lowest_hz = framing.lowest_hz;
  out.highest_hz = framing.highest_hz;
  out.frames = f.count;
  out.bins = f.bins;
  out.codes.resize(f.count * f.bins);
  const FrameFft fft(hann(f.window), f.transform);
  const auto& table = code_table();
  std::vector<float> power(fft.bins() * FrameFft::batch);
  std::vector<int> places(f.bins * FrameFft::batch);  // in the table
  double near = 0.0;
  for (std::size_t first = 0; first < f.count; first += FrameFft::batch) {
    const std::size_t count = std::min(FrameFft::batch, f.count - first);
    fft.lane_power(std::span(flat.samples).subspan(first * f.hop), f.hop, count, power);
    places_of(std::span(power).first(f.bins * FrameFft::batch), f.bin_hz, places);
    for (std::size_t k = 0; k < f.bins; ++k)
      for (std::size_t frame = 0; frame < count; ++frame)
        out.codes[k * f.count + first + frame] =
            table[static_cast<std::size_t>(places[k * FrameFft::batch + frame])];
    for (std::size_t frame = first; frame < first + count; ++frame) {
      // Above what the recording holds at this moment there is nothing to compare.
      near = flat.track.time_of(out.time_of(frame) * flat.mean_rate, near);
      const double top = 0.46 * flat.rate * flat.mean_rate / flat.track.rate_at(near);
      const auto usable =
          static_cast<std::size_t>(std::clamp(top / f.bin_hz, 0.0, static_cast<double>(f.bins)));
      for (std::size_t k = usable; k < f.bins; ++k) out.codes[k * f.count + frame] = BayesCode::neutral();
    }
  }
  return out;
}

}  // namespace gearhark::tracking
