#include "moments.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "gearhark/signal/statistics.hpp"

namespace gearhark {
namespace {

constexpr double moment_s = 0.01;
// Road boom fills whole moments with less than one cycle; impacts and gaps show above it.
constexpr double middle_hz = 300.0, high_hz = 1500.0;
// Lossy codecs round the flats of clipped peaks, so what is near full scale counts, not what is at it.
constexpr float near_full_scale = 0.985F;
// The surroundings that a moment is held against.
constexpr std::size_t surroundings = 200;  // moments: 2 s
// Noise whose bandwidth is a mere 300 Hz exceeds its own level by 10 dB in a moment once in 10^10.
constexpr float bump_db = 10.0F;
// Faults knock too, but a bearing's or joint's own impact is over in a moment or two; wheel and suspension
// take longer over a joint in the road. So a bump fills 3 of 8 moments, or is far louder than a fault's
// knock.
constexpr std::size_t bump_moments = 3, bump_window = 8;
constexpr float violent_db = 20.0F;
// Sound does not end by 20 dB within 10 ms; a lost packet or a noise gate does.
constexpr float gap_db = 20.0F;
// Not a single step of 16-bit sound in 10 ms: nothing was recorded.
constexpr float one_step = 1.0F / 32768.0F;
// Bumps and gaps nearer than this are one.
constexpr std::size_t one_event = 15;  // moments: 150 ms
// A bump is over within this. What knocks on for longer is a fault, a kerb or a change of sound.
constexpr std::size_t longest_bump = 60;  // moments: 0.6 s
constexpr double shortest_stretch_s = 1.0;

// Second-order Butterworth high-pass by the bilinear transform.
class HighPass {
 public:
  HighPass(double corner_hz, double rate_hz) {
    const double k = std::tan(std::numbers::pi * std::min(corner_hz / rate_hz, 0.45));
    const double norm = 1.0 / (1.0 + std::numbers::sqrt2 * k + k * k);
    gain_ = norm;
    back1_ = 2.0 * (k * k - 1.0) * norm;
    back2_ = (1.0 - std::numbers::sqrt2 * k + k * k) * norm;
  }
  // Only the last product waits for the value before.
  double operator()(double x) {
    const double y = (gain_ * x + ahead_ - back2_ * y2_) - back1_ * y1_;
    ahead_ = gain_ * x1_ - 2.0 * gain_ * x;
    x1_ = x;
    y2_ = y1_;
    return y1_ = y;
  }

 private:
  double gain_, back1_, back2_, ahead_ = 0.0, x1_ = 0.0, y1_ = 0.0, y2_ = 0.0;
};

float level_of(double power, std::size_t count) {
  return static_cast<float>(10.0 * std::log10(power / static_cast<double>(count) + 1e-20));
}

struct Event {
  std::size_t first, last;
};

std::vector<Event> events_of(const std::vector<bool>& flags) {
  std::vector<Event> events;
  for (std::size_t i = 0; i < flags.size(); ++i) {
    if (!flags[i]) continue;
    if (events.empty() || i - events.back().last > one_event)
      events.push_back({i, i});
    else
      events.back().last = i;
  }
  return events;
}

// The flags that stand close enough together to be one bump.
std::vector<bool> lasting(const std::vector<bool>& flags) {
  std::vector<bool> kept(flags.size());
  for (std::size_t i = 0; i < flags.size(); ++i) {
    const std::size_t end = std::min(i + bump_window, flags.size());
    if (std::count(flags.begin() + static_cast<long>(i), flags.begin() + static_cast<long>(end), true) <
        static_cast<long>(bump_moments))
      continue;
    for (std::size_t j = i; j < end; ++j) kept[j] = kept[j] || flags[j];
  }
  return kept;
}

// Without the flags that touch the start or the end: silence there is how recordings begin and end.
std::vector<bool> within(std::vector<bool> flags) {
  std::fill(flags.begin(), std::find(flags.begin(), flags.end(), false), false);
  std::fill(flags.rbegin(), std::find(flags.rbegin(), flags.rend(), false), false);
  return flags;
}

}  // namespace

Moments moments_of(std::span<const float> samples, double rate_hz) {
  const auto length = static_cast<std::size_t>(std::max(1.0, std::round(moment_s * rate_hz)));
  Moments m;
  m.moment_s = static_cast<double>(length) / rate_hz;
  HighPass middle(middle_hz, rate_hz), high(high_hz, rate_hz);
  for (std::size_t start = 0; start + length <= samples.size(); start += length) {
    double all_power = 0.0, middle_power = 0.0, high_power = 0.0;
    int clipped = 0;
    float lowest = samples[start], highest = samples[start];
    for (float x : samples.subspan(start, length)) {
      const double mid = middle(x), top = high(x);
      all_power += static_cast<double>(x) * x;
      middle_power += mid * mid;
      high_power += top * top;
      lowest = std::min(lowest, x);
      highest = std::max(highest, x);
      if (std::abs(x) >= near_full_scale) ++clipped;
    }
    m.level.push_back(level_of(all_power, length));
    m.middle_level.push_back(level_of(middle_power, length));
    m.high_level.push_back(level_of(high_power, length));
    m.clipped.push_back(clipped);
    m.span.push_back(highest - lowest);
  }
  return m;
}

Flagged bumps_in(const Moments& m) {
  const std::vector<float> middle = block_median(m.middle_level, surroundings);
  const std::vector<float> high = block_median(m.high_level, surroundings);
  std::vector<bool> loud(m.level.size()), violent(m.level.size());
  for (std::size_t i = 0; i < m.level.size(); ++i) {
    const float rise = m.middle_level[i] - middle[i];
    loud[i] = rise > bump_db && m.high_level[i] > high[i] + bump_db / 2;
    violent[i] = loud[i] && rise > violent_db;
  }
  const std::vector<bool> lasted = lasting(loud);
  for (std::size_t i = 0; i < loud.size(); ++i) loud[i] = lasted[i] || violent[i];
  Flagged bumps{std::vector<bool>(loud.size())};
  for (const Event& event : events_of(loud)) {
    if (event.last - event.first >= longest_bump) continue;
    ++bumps.events;
    for (std::size_t i = event.first; i <= event.last; ++i) bumps.moments[i] = loud[i];
  }
  return bumps;
}

Flagged dropouts_in(const Moments& m) {
  const std::vector<float> all = block_median(m.level, surroundings);
  const std::vector<float> middle = block_median(m.middle_level, surroundings);
  Flagged gaps{std::vector<bool>(m.level.size())};
  for (std::size_t i = 0; i < m.level.size(); ++i)
    gaps.moments[i] =
        m.span[i] <= one_step || (m.level[i] < all[i] - gap_db && m.middle_level[i] < middle[i] - gap_db);
  gaps.events = static_cast<int>(events_of(within(gaps.moments)).size());
  return gaps;
}

Flagged clipping_in(const Moments& m) {
  Flagged clipping{std::vector<bool>(m.level.size())};
  for (std::size_t i = 0; i < m.level.size(); ++i) clipping.moments[i] = m.clipped[i] > 0;
  clipping.events = static_cast<int>(events_of(clipping.moments).size());
  return clipping;
}

void widen(std::vector<bool>& flags, std::size_t before, std::size_t after) {
  const std::vector<bool> narrow = flags;
  for (std::size_t i = 0; i < narrow.size(); ++i)
    if (narrow[i])
      for (std::size_t j = i - std::min(i, before); j <= std::min(i + after, narrow.size() - 1); ++j)
        flags[j] = true;
}

std::vector<Stretch> unflagged(const std::vector<bool>& spoilt, double moment_length_s, Seconds duration) {
  std::vector<Stretch> stretches;
  const auto add = [&](std::size_t from, std::size_t to) {
    const double start = static_cast<double>(from) * moment_length_s;
    const double end = to == spoilt.size() ? duration.value() : static_cast<double>(to) * moment_length_s;
    if (end - start >= std::min(shortest_stretch_s, duration.value()))
      stretches.push_back({Seconds(start), Seconds(end)});
  };
  std::size_t from = 0;
  for (std::size_t i = 0; i < spoilt.size(); ++i)
    if (spoilt[i]) {
      add(from, i);
      from = i + 1;
    }
  add(from, spoilt.size());
  return stretches;
}

}  // namespace gearhark
