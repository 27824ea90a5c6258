#include "gearhark/recording/processing.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>

#include "gearhark/signal/fft.hpp"
#include "gearhark/signal/statistics.hpp"
#include "gearhark/signal/windows.hpp"

namespace gearhark {
namespace {

constexpr double frame_s = 0.064, looked_at_s = 300.0;
// Where road noise is well above the phone's own, and every codec stores what there is.
constexpr double lowest_hz = 300.0, highest_hz = 3500.0;
constexpr std::size_t block_frames = 64;  // 2 s: over which the level of a bin stays
constexpr std::size_t fewest_blocks = 4;
constexpr double unsteady_db = 3.0;  // of the level of all bins together within a block
// DEVELOPERS.md has the measured figures. Codecs make holes too, but of another shape: they deepen the faint
// side far more than they lift the loud one.
constexpr double noise_below_db = 8.0,
                 noise_above_db = 5.2;  // of noise that each bin is held against its own middle
constexpr double least_noise_db = 3.0;  // of the spread above: less, and tones or silence are all there is
constexpr double above_likely_db = 5.65, above_none_db = 5.5, holes_of_codecs = 0.8, beyond_codecs_db = 6.2;
constexpr double sink_from_s = 0.4, sink_to_s = 1.0, trend_from_s = 4.0, trend_to_s = 14.0;
constexpr double much_sink_db = 4.0;  // roads change by as much: no proof, but no calm either
constexpr double serious_cost_db = 3.0;
constexpr double slowest = 8.0;       // m/s; below, engine and fan are louder than the road
constexpr double speeds_apart = 1.3;  // fastest over slowest
constexpr double usual_rise = 3.0, rise_likely = 2.2, rise_none = 2.5;

// Levels in dB of every bin of the band in every frame, and what they have in common.
struct Levels {
  std::size_t bins = 0;
  double step_s = 0.0;
  std::vector<float> db;      // frame by frame
  std::vector<float> common;  // the middle of each frame
  [[nodiscard]] std::size_t frames() const { return common.size(); }
  [[nodiscard]] double time(std::size_t frame) const { return (static_cast<double>(frame) + 1.0) * step_s; }
};

Levels levels_of(const Recording& recording) {
  const double rate = recording.sample_rate;
  const std::size_t length = good_length(static_cast<std::size_t>(frame_s * rate)), hop = length / 2;
  const RealFft fft(length);
  const std::vector<float> window = window_weights(Window::hann, length);
  const double bin_hz = rate / static_cast<double>(length);
  const auto first = static_cast<std::size_t>(lowest_hz / bin_hz);
  const auto last = static_cast<std::size_t>(std::min(highest_hz, 0.45 * rate) / bin_hz);
  const auto samples =
      std::span(recording.samples)
          .first(std::min(recording.samples.size(), static_cast<std::size_t>(looked_at_s * rate)));
  Levels out;
  out.bins = last - first;
  out.step_s = static_cast<double>(hop) / rate;
  std::vector<float> frame(length);
  std::vector<std::complex<float>> spectrum(length / 2 + 1);
  for (std::size_t from = 0; from + length <= samples.size(); from += hop) {
    for (std::size_t i = 0; i < length; ++i) frame[i] = samples[from + i] * window[i];
    fft.forward(frame, spectrum);
    for (std::size_t k = first; k < last; ++k)
      out.db.push_back(10.0F * std::log10(std::norm(spectrum[k]) + 1e-16F));
    out.common.push_back(static_cast<float>(median(std::span(out.db).last(out.bins))));
  }
  return out;
}

struct Spread {
  double below = 0.0, above = 0.0, variation = 0.0;  // variation: variance of the power over its mean squared
};

// Of a block, each bin about its own middle, the frames' common level taken away. Nothing where the level is
// unsteady.
std::optional<Spread> spread_of(const Levels& levels, std::size_t first) {
  const auto common = std::span(levels.common).subspan(first, block_frames);
  if (1.4826 * median_absolute_deviation(common) > unsteady_db) return {};
  std::vector<float> all, bin(block_frames);
  for (std::size_t k = 0; k < levels.bins; ++k) {
    for (std::size_t i = 0; i < block_frames; ++i)
      bin[i] = levels.db[(first + i) * levels.bins + k] - common[i];
    const auto middle = static_cast<float>(median(bin));
    for (const float db : bin) all.push_back(db - middle);
  }
  constexpr std::array shares{0.1, 0.5, 0.9};
  const auto at = quantiles(all, shares);
  double sum = 0.0, squares = 0.0;
  for (const float db : all) {
    const double power = std::pow(10.0, 0.1 * static_cast<double>(db));
    sum += power;
    squares += power * power;
  }
  return Spread{at[1] - at[0], at[2] - at[1], static_cast<double>(all.size()) * squares / (sum * sum) - 1.0};
}

// The middle of all steady blocks.
std::optional<Spread> spread_of(const Levels& levels) {
  std::vector<float> below, above, variation;
  for (std::size_t first = 0; first + block_frames <= levels.frames(); first += block_frames)
    if (const auto spread = spread_of(levels, first)) {
      below.push_back(static_cast<float>(spread->below));
      above.push_back(static_cast<float>(spread->above));
      variation.push_back(static_cast<float>(spread->variation));
    }
  if (below.size() < fewest_blocks) return {};
  return Spread{median(below), median(above), median(variation)};
}

struct Straight {
  double at_zero = 0.0, slope = 0.0;
};

Straight line_through(const std::vector<double>& x, const std::vector<double>& y) {
  const auto n = static_cast<double>(x.size());
  double mx = 0.0, my = 0.0, xx = 0.0, xy = 0.0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    mx += x[i] / n;
    my += y[i] / n;
  }
  for (std::size_t i = 0; i < x.size(); ++i) {
    xx += (x[i] - mx) * (x[i] - mx);
    xy += (x[i] - mx) * (y[i] - my);
  }
  const double slope = xx > 0.0 ? xy / xx : 0.0;
  return {my - slope * mx, slope};
}

// How far the first second (but for the finger on the phone) lies above the straight line of what follows.
std::optional<double> sink_of(const Levels& levels) {
  std::vector<double> x, y;
  std::vector<float> early;
  for (std::size_t i = 0; i < levels.frames(); ++i) {
    const double t = levels.time(i);
    if (t >= sink_from_s && t <= sink_to_s) early.push_back(levels.common[i]);
    if (t < trend_from_s || t > trend_to_s) continue;
    x.push_back(t);
    y.push_back(levels.common[i]);
  }
  if (early.empty() || x.empty() || x.back() < trend_to_s - 1.0) return {};
  const Straight trend = line_through(x, y);
  return median(early) - (trend.at_zero + trend.slope * 0.5 * (sink_from_s + sink_to_s));
}

double at(const std::vector<SpeedAt>& speeds, double time) {
  const auto next =
      std::find_if(speeds.begin(), speeds.end(), [&](const SpeedAt& s) { return s.time.value() >= time; });
  if (next == speeds.begin() || next == speeds.end()) return 0.0;
  const SpeedAt& last = *(next - 1);
  const double share = (time - last.time.value()) / (next->time - last.time).value();
  return (last.speed + share * (next->speed - last.speed)).value();
}

// Level against speed, once a second.
struct Rise {
  double exponent = 0.0, slowest = 0.0, fastest = 0.0;
};

std::optional<Rise> rise_of(const Levels& levels, const std::vector<SpeedAt>& speeds) {
  std::vector<double> x, y;
  const auto second = std::max<std::size_t>(1, static_cast<std::size_t>(1.0 / levels.step_s));
  for (std::size_t i = 2 * second; i + second <= levels.frames(); i += second) {
    const double speed = at(speeds, levels.time(i + second / 2));
    if (!(speed > slowest)) continue;
    x.push_back(10.0 * std::log10(speed));
    y.push_back(median(std::span(levels.common).subspan(i, second)));
  }
  if (x.size() < 8) return {};
  const auto [low, high] = std::minmax_element(x.begin(), x.end());
  if (*high - *low < 10.0 * std::log10(speeds_apart)) return {};
  return Rise{line_through(x, y).slope, *low, *high};
}

void judge_suppression(const Levels& levels, Processing& out) {
  const auto spread = spread_of(levels);
  out.sink_db = sink_of(levels);
  if (!spread) {
    out.suppression_reason = "there are not 8 s of steady sound to tell by";
    return;
  }
  if (spread->above < least_noise_db) {
    out.suppression_reason = "there is no noise in it to tell by";
    return;
  }
  out.spread_below_db = spread->below;
  out.spread_above_db = spread->above;
  const double sink = out.sink_db.value_or(0.0), above = spread->above - noise_above_db;
  const bool of_a_codec =
      spread->above < beyond_codecs_db && above < holes_of_codecs * (spread->below - noise_below_db);
  if (spread->above > above_likely_db && !of_a_codec) {
    out.suppression = Sign::likely;
    out.suppression_cost_db = std::max(0.0, 5.0 * std::log10(spread->variation));
  } else if (spread->above < above_none_db && sink < much_sink_db) {
    out.suppression = Sign::none;
  }
  out.suppression_reason = fmt::format(
      "loud moments lie {:.2f} dB above the middle and faint ones {:.2f} dB below (noise as it is: {:.1f} "
      "and {:.1f})",
      spread->above, spread->below, noise_above_db, noise_below_db);
  if (sink >= much_sink_db)
    out.suppression_reason += fmt::format("; the sound sinks by {:.1f} dB after the start", sink);
}

void judge_gain(const Levels& levels, const std::vector<SpeedAt>& speeds, Processing& out) {
  const auto rise = rise_of(levels, speeds);
  if (!rise) {
    out.gain_reason = speeds.empty() ? "the speed is not known" : "the speed hardly changes";
    return;
  }
  out.rise = rise->exponent;
  if (rise->exponent < rise_likely) out.gain_control = Sign::likely;
  if (rise->exponent > rise_none) out.gain_control = Sign::none;
  if (out.gain_control == Sign::likely)
    out.gain_cost_db = (usual_rise - rise->exponent) * (rise->fastest - rise->slowest);
  out.gain_reason =
      fmt::format("the power rises as the speed to the {:.1f}, on a road usually to the {:.0f} or more",
                  rise->exponent, usual_rise);
}

}  // namespace

std::string to_text(Sign sign) {
  constexpr std::array words{"no sign of it", "can't tell", "likely"};
  return words[static_cast<std::size_t>(sign)];
}

std::vector<Problem> problems_of(const Processing& p) {
  std::vector<Problem> out;
  if (p.suppression == Sign::likely)
    out.push_back(
        {"noise suppression",
         fmt::format(
             "The phone seems to have suppressed what is steady, which is what faults are: a line must be "
             "{:.1f} dB louder to stand out as well.",
             p.suppression_cost_db),
         "Record with the recorder page, or with an app whose noise suppression can be switched off.",
         p.suppression_cost_db >= serious_cost_db});
  if (p.gain_control == Sign::likely)
    out.push_back(
        {"gain control",
         fmt::format(
             "The sound rises with the speed as if some {:.0f} dB had been taken back by an automatic gain.",
             p.gain_cost_db),
         "Record with the recorder page, or with an app whose automatic gain can be switched off.", false});
  return out;
}

Processing processing_of(const Recording& recording, const std::vector<SpeedAt>& speeds) {
  Processing out;
  const Levels levels = levels_of(recording);
  judge_suppression(levels, out);
  judge_gain(levels, speeds, out);
  return out;
}

}  // namespace gearhark
