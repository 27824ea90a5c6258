#include "idle.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numeric>
#include <vector>

#include "gearhark/signal/resample.hpp"

namespace gearhark::tracking {
namespace {

constexpr double kSlowest = 9.0, kFastest = 18.5;   // turns/s
constexpr double kRateStep = 0.0015;                // relative; the highest order moves by a third of a bin
constexpr double kLowestHz = 18.0, kTopHz = 400.0;  // where an idling engine is heard
constexpr int kHalfOrders = 24;
// As near to these, relative, its lines are those of the engine in gear or of a lumpy tyre, a little off.
constexpr double kNotTheEngine = 0.03, kNotTheWheel = 0.02;
// Hz from all turns of the wheels, as lumpy tyres make them, and from half orders of the engine in gear.
constexpr double kApartFromTurns = 1.1;
constexpr double kApart = 2.0;      // Hz from the lines of the car in gear
constexpr std::size_t kFewest = 8;  // lines in between
// Of the log Bayes factors of the lines in between, the mean, and what three in five of them reach: one
// shaft's knocks are every second or third of them. Noise has -1.2. Of 139 practice runs in gear none reached
// both; six real phone recordings of engines at idle mostly had means of 0.3 to 2 in the sound or its
// loudness.
struct Enough {
  double mean, three_in_five;
};
constexpr Enough kInSound{0.2, -0.7}, kInLoudness{0.0, 0.2};
// The third strongest of its first whole orders in the sound: 1.9 or more in the phone recordings that were
// found by their beat. Faults of slow shafts beat at all multiples too, but are not heard there.
constexpr double kWholeOrder = 0.5;
constexpr int kWholeOrders = 8;

// The engine in gear and the wheels, whose lines are not those in between.
struct InGear {
  double half_order, wheel;  // Hz
  std::span<const TrackingLine> lines;
};

bool near_multiple(double hz, double of, double within) {
  return std::abs(hz - of * std::round(hz / of)) < within;
}

bool in_between(const InGear& gear, double hz) {
  return !near_multiple(hz, gear.half_order, kApartFromTurns) &&
         !near_multiple(hz, gear.wheel, kApartFromTurns) &&
         std::none_of(gear.lines.begin(), gear.lines.end(), [&](const TrackingLine& line) {
           return std::abs(line.order * gear.wheel - hz) < kApart;
         });
}

// Mean log Bayes factors by frequency, over all frames; the best of three neighbouring bins each.
class MeanFactors {
 public:
  explicit MeanFactors(const Ratios& ratios)
      : bin_hz_(ratios.bin_hz), factors_(ratios.bins, BayesCode::kLow) {
    std::vector<double> means(ratios.bins, BayesCode::kLow);
    for (std::size_t bin = 0; bin < ratios.bins; ++bin) {
      double sum = 0.0;
      for (const std::uint8_t code : ratios.of_bin(bin)) sum += BayesCode::log_factor(code);
      means[bin] = sum / static_cast<double>(ratios.frames);
    }
    for (std::size_t bin = 1; bin + 1 < ratios.bins; ++bin)
      factors_[bin] = std::max({means[bin - 1], means[bin], means[bin + 1]});
  }
  [[nodiscard]] double at(double hz) const {
    const auto bin = static_cast<std::size_t>(std::lround(hz / bin_hz_));
    return bin < factors_.size() ? factors_[bin] : BayesCode::kLow;
  }

 private:
  double bin_hz_;
  std::vector<double> factors_;
};

bool whole_orders_heard(const MeanFactors& sound, double rate) {
  std::vector<double> orders;
  for (int whole = 1; whole <= kWholeOrders; ++whole)
    if (whole * rate >= kLowestHz) orders.push_back(sound.at(whole * rate));
  std::nth_element(orders.begin(), orders.begin() + 2, orders.end(), std::greater<>());
  return orders[2] >= kWholeOrder;
}

// The engine whose half orders in between stand out most, if by enough: its turns a second. heard: the sound
// or its loudness.
std::optional<double> idling_in(const MeanFactors& heard, const MeanFactors& sound, const InGear& gear,
                                Enough enough) {
  double most = enough.mean;
  std::optional<double> idle;
  for (double rate = kSlowest; rate < kFastest; rate *= 1.0 + kRateStep) {
    if (near_multiple(0.5 * rate, gear.half_order, kNotTheEngine * gear.half_order)) continue;
    if (near_multiple(0.5 * rate, gear.wheel, kNotTheWheel * gear.wheel)) continue;
    std::vector<double> between;
    for (int half = 1; half <= kHalfOrders; ++half) {
      const double hz = 0.5 * rate * half;
      if (hz >= kLowestHz && hz <= kTopHz && in_between(gear, hz)) between.push_back(heard.at(hz));
    }
    if (between.size() < kFewest) continue;
    const double mean =
        std::accumulate(between.begin(), between.end(), 0.0) / static_cast<double>(between.size());
    if (mean <= most) continue;
    std::sort(between.begin(), between.end());
    if (between[between.size() * 2 / 5] < enough.three_in_five || !whole_orders_heard(sound, rate)) continue;
    most = mean;
    idle = rate;
  }
  return idle;
}

// With no more above kTopHz than spectra up to there need: at its own rate their frames leave the caches.
FlatSound low_part(const FlatSound& flat) {
  const auto factor = std::max<std::size_t>(1, static_cast<std::size_t>(0.4 * flat.rate / kTopHz));
  return {decimate(flat.samples, factor), flat.rate / static_cast<double>(factor), flat.mean_rate,
          flat.track};
}

// How loud its high part is from moment to moment, about the mean. Of moments far above the median no more
// than that they are is kept, or a few bumps would outweigh the rest.
FlatSound loudness(const FlatSound& flat) {
  constexpr float loudest = 12.0f;  // medians
  FlatSound out = flat;
  std::vector<float>& power = out.samples;
  if (power.size() < 3) return out;
  for (std::size_t i = 0; i + 2 < power.size(); ++i) {
    const float bend = flat.samples[i] - 2.0f * flat.samples[i + 1] + flat.samples[i + 2];
    power[i] = bend * bend;
  }
  power.resize(power.size() - 2);
  std::vector<float> some;  // are enough for a median
  for (std::size_t i = 0; i < power.size(); i += 8) some.push_back(power[i]);
  const auto middle = some.begin() + static_cast<std::ptrdiff_t>(some.size() / 2);
  std::nth_element(some.begin(), middle, some.end());
  double sum = 0.0;
  for (float& p : power) sum += static_cast<double>(p = std::min(p, loudest * *middle));
  const auto mean = static_cast<float>(sum / static_cast<double>(power.size()));
  for (float& p : power) p -= mean;
  return out;
}

}  // namespace

std::optional<double> idling_engine(const FlatSound& flat, double engine_per_wheel,
                                    std::span<const TrackingLine> lines) {
  const auto ratios = [](const FlatSound& low) { return line_ratios(low, {2.0, 0.5, kLowestHz, kTopHz}); };
  const Ratios in_sound = ratios(low_part(flat));
  if (in_sound.frames < 3) return {};
  const MeanFactors sound(in_sound);
  const InGear gear{0.5 * engine_per_wheel * flat.mean_rate, flat.mean_rate, lines};
  if (const auto idle = idling_in(sound, sound, gear, kInSound)) return idle;
  // Gears do not beat on their lines, so none of these is left out.
  return idling_in(MeanFactors(ratios(low_part(loudness(flat)))), sound, {gear.half_order, gear.wheel, {}},
                   kInLoudness);
}

}  // namespace gearhark::tracking
