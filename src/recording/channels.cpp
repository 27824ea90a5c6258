#include "channels.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace gearhark {
namespace {

// Wind and handling noise lie below this and are each microphone's own; the car's sound is above it in both.
constexpr double wind_border_hz = 150.0;
// Below -80 dB re full scale a channel is taken for unconnected: the quietest phone noise floors are near
// -75.
constexpr double silent_rms = 1e-4;
// A channel with this much more of its samples at full scale is the worse one: 1 in 10 000.
constexpr double clipped_more = 1e-4;
constexpr float full_scale = 0.985F;
// Low-frequency power above the other channel's by 6 dB: wind on that microphone.
constexpr double windier = 4.0;
// Under this correlation the two microphones hear different things, and a mean would cancel some of it.
constexpr double alike = 0.5;
constexpr double identical = 0.99999;

struct Tally {
  double low = 0.0, low_power = 0.0, high_power = 0.0, peak = 0.0;
  double clipped = 0.0, not_numbers = 0.0;
};

struct Survey {
  std::vector<Tally> channels;
  double frames = 0.0, cross_power = 0.0;  // of the first two channels above the wind border
};

// A one-pole split at the wind border keeps this pass cheap; its 6 dB per octave is enough for the
// comparison.
Survey survey(Source& source) {
  const auto count = static_cast<std::size_t>(source.facts().channels);
  const double pole = 1.0 - std::exp(-2.0 * std::numbers::pi * wind_border_hz / source.facts().sample_rate);
  Survey s{std::vector<Tally>(count)};
  std::vector<double> high(count);
  // More is not used either.
  for (auto block = source.next(); !block.empty() && s.frames < static_cast<double>(most_samples_kept);
       block = source.next()) {
    for (std::size_t i = 0; i + count <= block.size(); i += count) {
      for (std::size_t c = 0; c < count; ++c) {
        Tally& t = s.channels[c];
        double x = block[i + c];
        if (!std::isfinite(x)) {
          ++t.not_numbers;
          x = 0.0;
        }
        t.low += pole * (x - t.low);
        high[c] = x - t.low;
        t.low_power += t.low * t.low;
        t.high_power += high[c] * high[c];
        t.peak = std::max(t.peak, std::abs(x));
        if (std::abs(x) >= full_scale) ++t.clipped;
      }
      if (count == 2) s.cross_power += high[0] * high[1];
    }
    s.frames += static_cast<double>(block.size() / count);
  }
  return s;
}

std::string name_of(std::size_t channel, std::size_t count) {
  if (count == 2) return channel == 0 ? "the left one" : "the right one";
  return fmt::format("number {}", channel + 1);
}

struct Pick {
  std::size_t channel = 0;
  std::string reason;
};

double rms(const Tally& t, double frames) {
  return frames > 0 ? std::sqrt((t.low_power + t.high_power) / frames) : 0.0;
}

// Each rule asks whether `b` is better than `a` on one count; the first that tells them apart decides.
std::string why_better(const Tally& b, const Tally& a, double frames) {
  if (b.not_numbers < a.not_numbers) return "the other holds samples that are not numbers";
  if (b.not_numbers > a.not_numbers) return "";
  if (rms(a, frames) < silent_rms && rms(b, frames) >= silent_rms) return "the other is silent";
  if (rms(b, frames) < silent_rms) return "";
  if (b.clipped + clipped_more * frames < a.clipped) return "the other clips more";
  if (a.clipped + clipped_more * frames < b.clipped) return "";
  if (b.low_power * windier < a.low_power && b.high_power * windier > a.high_power)
    return "the other has more wind";
  return "";
}

Pick best_of(const Survey& s) {
  Pick best;
  for (std::size_t c = 1; c < s.channels.size(); ++c) {
    const Tally &candidate = s.channels[c], &leader = s.channels[best.channel];
    if (std::string why = why_better(candidate, leader, s.frames); !why.empty())
      best = {c, why};
    else if (std::string back = why_better(leader, candidate, s.frames); !back.empty())
      best.reason = back;
  }
  return best;
}

std::size_t louder(const Survey& s) {
  std::size_t best = 0;
  for (std::size_t c = 1; c < s.channels.size(); ++c)
    if (s.channels[c].high_power > 1.01 * s.channels[best].high_power) best = c;
  return best;
}

ChannelChoice hear_one(const Survey& s, std::size_t channel, const std::string& why) {
  ChannelChoice choice;
  choice.weights.assign(s.channels.size(), 0.0F);
  choice.weights[channel] = 1.0F;
  choice.not_numbers = s.frames > 0 ? s.channels[channel].not_numbers / s.frames : 0.0;
  choice.peak = s.channels[channel].peak;
  if (s.channels.size() > 1)
    choice.note = fmt::format("{} channels: {} was used ({})", s.channels.size(),
                              name_of(channel, s.channels.size()), why);
  return choice;
}

ChannelChoice hear_mean(const Survey& s) {
  ChannelChoice choice;
  choice.weights = {0.5F, 0.5F};
  choice.peak = std::max(s.channels[0].peak, s.channels[1].peak);
  choice.note = "2 channels: their mean was used";
  return choice;
}

}  // namespace

ChannelChoice choose_channels(Source& source) {
  const Survey s = survey(source);
  if (s.channels.size() == 1) return hear_one(s, 0, "");
  const Pick best = best_of(s);
  if (s.channels.size() > 2)
    return hear_one(s, best.reason.empty() ? louder(s) : best.channel,
                    best.reason.empty() ? "the loudest" : "fewest faults");
  if (!best.reason.empty()) return hear_one(s, best.channel, best.reason);
  const double powers = std::sqrt(s.channels[0].high_power * s.channels[1].high_power);
  const double correlation = powers > 0.0 ? s.cross_power / powers : 1.0;
  if (correlation > identical) return hear_one(s, 0, "they hold the same sound");
  if (correlation >= alike) return hear_mean(s);
  return hear_one(s, louder(s), "the louder one; the two differ too much for a mean");
}

}  // namespace gearhark
