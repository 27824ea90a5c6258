#include "flatten.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "gearhark/signal/windows.hpp"
#include "wide/wide.hpp"

namespace gearhark::tracking {
namespace {

// Windowed sinc at offset x samples; cutoff as a share of the sample rate's half; half_width in samples.
double windowed_sinc(double x, double cutoff, double half_width, const Kaiser& window) {
  if (std::abs(x) >= half_width) return 0.0;
  const double arg = std::numbers::pi * cutoff * x;
  const double sinc = std::abs(arg) < 1e-12 ? 1.0 : std::sin(arg) / arg;
  return cutoff * sinc * window(x / half_width);
}

constexpr int kTaps = 32;
constexpr int kPhases = 1024;

// Row p: the taps that read the signal p/kPhases of a sample after its 16th tap.
const AlignedFloats& interpolation_table() {
  static const AlignedFloats table = [] {
    AlignedFloats rows(static_cast<std::size_t>(kTaps) * (kPhases + 1));
    const Kaiser window(7.0);
    for (int p = 0; p <= kPhases; ++p)
      for (int k = 0; k < kTaps; ++k)
        rows.data()[p * kTaps + k] = static_cast<float>(
            windowed_sinc(k - (kTaps / 2 - 1) - static_cast<double>(p) / kPhases, 0.97, kTaps / 2, window));
    return rows;
  }();
  return table;
}

// A signal with silence round it, read between its samples.
class Padded {
 public:
  explicit Padded(const std::vector<float>& samples)
      : last_(static_cast<double>(samples.size() + kTaps) - 1.0) {
    samples_.reserve(samples.size() + 2 * kTaps);
    samples_.resize(kTaps, 0.0f);
    samples_.insert(samples_.end(), samples.begin(), samples.end());
    samples_.resize(samples.size() + 2 * kTaps, 0.0f);
  }
  // Where read() finds a sample.
  [[nodiscard]] double position(double sample) const {
    return std::clamp(sample + kTaps - (kTaps / 2 - 1), 0.0, last_);
  }
  void read(std::span<const double> positions, float* out) const {
    wide().read_at(samples_.data(), positions.data(), positions.size(), interpolation_table().data(), kTaps,
                   kPhases, out);
  }
  // At the times t[0] + u (t[1] + u (t[2] + u t[3])), u = i step.
  void read_along(std::array<double, 4> t, double rate, double step, std::span<float> out) const {
    for (double& c : t) c *= rate;
    t[0] += kTaps - (kTaps / 2 - 1);
    wide().read_along(samples_.data(), t.data(), step, last_, out.size(), interpolation_table().data(), kTaps,
                      kPhases, out.data());
  }

 private:
  std::vector<float> samples_;
  double last_;
};

}  // namespace

Sound decimate_for_tracking(std::span<const float> samples, double sample_rate) {
  const int factor = std::max(1, static_cast<int>(sample_rate / 7990.0));
  if (factor == 1) return {{samples.begin(), samples.end()}, sample_rate};
  const int half = 20 * factor;
  const Kaiser window(6.0);
  std::vector<float> taps(static_cast<std::size_t>(2 * half));
  for (int k = -half; k < half; ++k)
    taps[static_cast<std::size_t>(k + half)] =
        static_cast<float>(windowed_sinc(k, 0.95 / factor, half, window));
  Sound out{std::vector<float>(samples.size() / static_cast<std::size_t>(factor)), sample_rate / factor};
  // Outputs [from, to) of samples that have silence before and behind them.
  const std::size_t step = static_cast<std::size_t>(factor), reach = static_cast<std::size_t>(half);
  const auto at_edge = [&](std::size_t from, std::size_t to) {
    std::vector<float> near((to - from) * step + taps.size(), 0.0f);
    for (std::size_t i = 0; i < near.size(); ++i)
      if (const std::size_t at = from * step + i; at >= reach && at - reach < samples.size())
        near[i] = samples[at - reach];
    wide().sliding_dots(near.data(), step, to - from, taps.data(), taps.size(), out.samples.data() + from, 1);
  };
  // In whole eights, as the loops take them.
  const std::size_t all = out.samples.size(), edge = 24, first = std::min(all, edge);
  const std::size_t last = std::max(first, (all - first) / 8 * 8);
  at_edge(0, first);
  wide().sliding_dots(samples.data() + first * step - reach, step, last - first, taps.data(), taps.size(),
                      out.samples.data() + first, 1);
  at_edge(last, all);
  return out;
}

double FlatSound::stretch_at(double tau, double near_seconds) const {
  return mean_rate / track.rate_at(track.time_of(tau * mean_rate, near_seconds));
}

FlatSound flatten(const Sound& sound, const AngleTrack& track) {
  const double mean_rate = track.at(sound.duration()) / sound.duration();
  FlatSound flat{std::vector<float>(sound.samples.size()), sound.rate, mean_rate, track};
  const Padded padded(sound.samples);

  // Recording time at every 64th flat sample by Newton's rule; cubic in between.
  constexpr std::size_t block = 64;
  const double span = static_cast<double>(block) / sound.rate;
  double t0 = track.time_of(0.0, 0.0), slope0 = mean_rate / std::max(track.rate_at(t0), 1e-3);
  for (std::size_t start = 0; start < flat.samples.size(); start += block) {
    const double tau1 = static_cast<double>(start + block) / sound.rate;
    const double t1 = track.time_of(tau1 * mean_rate, t0 + slope0 * span);
    const double slope1 = mean_rate / std::max(track.rate_at(t1), 1e-3);
    const double a = slope0 * span, b = slope1 * span, rise = t1 - t0;
    const std::size_t n = std::min(block, flat.samples.size() - start);
    padded.read_along({t0, a, 3.0 * rise - 2.0 * a - b, a + b - 2.0 * rise}, sound.rate, 1.0 / block,
                      std::span(flat.samples).subspan(start, n));
    t0 = t1;
    slope0 = slope1;
  }
  return flat;
}

FlatSound in_step_with(const FlatSound& flat, const AngleTrack& track) {
  return {flat.samples, flat.rate, track.at(flat.duration()) / flat.duration(), track};
}

Sound unflattened(const FlatSound& flat) {
  Sound sound{std::vector<float>(flat.samples.size()), flat.rate};
  const Padded padded(flat.samples);
  std::vector<double> positions(sound.samples.size());
  for (std::size_t i = 0; i < positions.size(); ++i) {
    const double angle = flat.track.at(static_cast<double>(i) / flat.rate);
    positions[i] = padded.position(angle / flat.mean_rate * flat.rate);
  }
  padded.read(positions, sound.samples.data());
  return sound;
}

AngleTrack corrected(const FlatSound& flat, std::span<const double> error, double error_step_s) {
  AngleTrack e{error_step_s, {error.begin(), error.end()}};
  AngleTrack out = flat.track;
  for (double& angle : out.turns) {
    const double tau = std::clamp(angle / flat.mean_rate, 0.0, e.duration());
    angle += e.at(tau);
  }
  const double origin = out.turns.front();
  for (double& angle : out.turns) angle -= origin;
  return out;
}

}  // namespace gearhark::tracking
