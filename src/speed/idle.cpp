#include "idle.hpp"

#include <algorithm>
#include <cmath>

#include "gearhark/signal/resample.hpp"

namespace gearhark::tracking {
namespace {

constexpr double kSlowest = 7.0, kFastest = 25.0;   // turns/s
constexpr double kLowestHz = 18.0, kTopHz = 400.0;  // where an idling engine is heard
constexpr double kApart = 2.0;                      // Hz from the lines of the car in gear
constexpr double kApartFromTurns = 0.75;  // Hz from the wheels' own turns: lumpy tyres make them all
constexpr int kFewest = 3;                // lines in between
// Mean log Bayes factor of the lines in between. Of 72 simulated runs in gear none exceeded -0.9; real phone
// recordings of engines at idle reached 1.1 to 1.9.
constexpr double kStandsOut = 0.3;

// Mean log Bayes factor at a frequency, the best of three neighbouring bins.
double log_factor_at(const Ratios& ratios, double hz) {
  const auto centre = static_cast<std::size_t>(std::lround(hz / ratios.bin_hz));
  double best = BayesCode::kLow;
  for (std::size_t bin = centre - 1; bin <= centre + 1; ++bin) {
    double sum = 0.0;
    for (const std::uint8_t code : ratios.of_bin(bin)) sum += BayesCode::log_factor(code);
    best = std::max(best, sum / static_cast<double>(ratios.frames));
  }
  return best;
}

// Of the lines k * step that are neither the fast engine's half orders nor the car's nor the wheels' turns.
double between(const Ratios& ratios, double step, double half_order, double mean_rate,
               std::span<const TrackingLine> lines) {
  double sum = 0.0;
  int count = 0;
  for (double hz = step; hz < kTopHz && hz < 16.5 * step; hz += step) {
    const double halves = hz / half_order;
    const double from_turn = std::abs(hz - mean_rate * std::round(hz / mean_rate));
    if (hz < kLowestHz || std::abs(halves - std::round(halves)) < 0.02 || from_turn < kApartFromTurns)
      continue;
    if (std::any_of(lines.begin(), lines.end(),
                    [&](const TrackingLine& line) { return std::abs(line.order * mean_rate - hz) < kApart; }))
      continue;
    sum += log_factor_at(ratios, hz);
    ++count;
  }
  return count < kFewest ? BayesCode::kLow : sum / count;
}

// With no more above kTopHz than spectra up to there need: at its own rate their frames leave the caches.
FlatSound low_part(const FlatSound& flat) {
  const auto factor = std::max<std::size_t>(1, static_cast<std::size_t>(0.4 * flat.rate / kTopHz));
  return {decimate(flat.samples, factor), flat.rate / static_cast<double>(factor), flat.mean_rate,
          flat.track};
}

}  // namespace

std::optional<double> idling_engine(const FlatSound& flat, double engine_per_wheel,
                                    std::span<const TrackingLine> lines) {
  const Ratios ratios = line_ratios(low_part(flat), {2.0, 0.5, kLowestHz, kTopHz});
  if (ratios.frames < 3) return {};
  const double fast = engine_per_wheel * flat.mean_rate;
  double best = kStandsOut;
  std::optional<double> idle;
  for (int halves = 3; halves <= 14; ++halves) {
    const double slow = 2.0 * fast / halves;
    if (slow < kSlowest || slow > kFastest) continue;
    // Half orders only where the fast engine's could all be among them.
    const double step = halves % 2 == 0 ? 0.5 * slow : slow;
    const double stands_out = between(ratios, step, 0.5 * fast, flat.mean_rate, lines);
    if (stands_out <= best) continue;
    best = stands_out;
    idle = slow;
  }
  return idle;
}

}  // namespace gearhark::tracking
