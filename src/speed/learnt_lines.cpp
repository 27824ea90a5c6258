#include "learnt_lines.hpp"

#include <algorithm>
#include <cmath>

#include "gearhark/signal/distributions.hpp"
#include "gearhark/signal/spectrum.hpp"
#include "gearhark/signal/statistics.hpp"

namespace gearhark::tracking {
namespace {

constexpr double kFirstOrder = 45.0, kLastOrder = 200.0;
constexpr double kWindow = 4.0;            // s; a tread line and its twin from another tyre lie 0.1 % apart
constexpr std::size_t kMost = 24;          // lines of a run
constexpr double kSamePredicted = 0.0015;  // relative
constexpr double kSameLine = 0.0006;       // relative, between runs
constexpr double kBackgroundHz = 60.0;

bool predicted_at(double order, std::span<const Line> predicted, double engine_per_wheel) {
  const auto near = [order](double other) { return std::abs(order - other) < kSamePredicted * order; };
  if (engine_per_wheel > 0.0) {
    const double halves = 2.0 * order / engine_per_wheel;
    if (near(0.5 * std::round(halves) * engine_per_wheel)) return true;
  }
  return std::any_of(predicted.begin(), predicted.end(), [&](const Line& line) {
    return line.kind != LineKind::tread && near(std::abs(line.rate.wheel));
  });
}

// Power over background that noise reaches in one bin of fifty million, by Wilson and Hilferty's rule for
// chi-square (PNAS 17, 1931).
double strong(double freedom) {
  const double v = 2.0 / (9.0 * freedom), root = 1.0 - v + 5.5 * std::sqrt(v);
  return root * root * root;
}

// Offset of the top of the parabola through three values, in bins.
double parabola_top(double before, double top, double after) {
  const double bend = before - 2.0 * top + after;
  return bend < 0.0 ? std::clamp(0.5 * (before - after) / bend, -0.5, 0.5) : 0.0;
}

}  // namespace

std::vector<StrongOrder> unlisted_orders(const Sound& sound, const AngleTrack& wheel,
                                         std::span<const Line> predicted, double engine_per_wheel) {
  const FlatSound flat = flatten(sound, wheel);
  const auto length = static_cast<std::size_t>(std::min(kWindow, 0.4 * flat.duration()) * flat.rate);
  const PowerDensity spectrum =
      average_spectrum(flat.samples, flat.rate, {length, length / 4, 0, Window::hann});
  if (spectrum.averages == 0) return {};
  std::vector<float> background =
      block_median(spectrum.density, static_cast<std::size_t>(kBackgroundHz / spectrum.bin_hz));
  const auto least = static_cast<float>(strong(spectrum.freedom));
  std::vector<StrongOrder> found;
  for (std::size_t k = 1; k + 1 < spectrum.density.size(); ++k) {
    const float here = spectrum.density[k], before = spectrum.density[k - 1], after = spectrum.density[k + 1];
    if (here < before || here <= after || here < least * background[k] ||
        static_cast<double>(k) * spectrum.bin_hz > kHighestHz)
      continue;
    const double bin = static_cast<double>(k) + parabola_top(std::log(before + 1e-30), std::log(here + 1e-30),
                                                             std::log(after + 1e-30));
    const double order = bin * spectrum.bin_hz / flat.mean_rate;
    if (order < kFirstOrder || order > kLastOrder || predicted_at(order, predicted, engine_per_wheel))
      continue;
    found.push_back({order, static_cast<double>(here / (background[k] + 1e-30f))});
  }
  std::sort(found.begin(), found.end(), [](const auto& a, const auto& b) { return a.ratio > b.ratio; });
  if (found.size() > kMost) found.resize(kMost);
  return found;
}

std::vector<TrackingLine> learnt_lines(std::span<const HeardOrders> runs) {
  std::vector<TrackingLine> lines;
  const bool several_gears = std::any_of(runs.begin(), runs.end(),
                                         [&](const auto& run) { return !(run.gear == runs.front().gear); });
  for (const HeardOrders& run : runs)
    for (const StrongOrder& strong : run.orders) {
      const auto near = [&](double other) { return std::abs(strong.order - other) < kSameLine * other; };
      if (std::any_of(lines.begin(), lines.end(), [&](const auto& line) { return near(line.order); }))
        continue;
      const bool in_other_gear = std::any_of(runs.begin(), runs.end(), [&](const HeardOrders& other) {
        return !(other.gear == run.gear) && std::any_of(other.orders.begin(), other.orders.end(),
                                                        [&](const auto& o) { return near(o.order); });
      });
      const double visible = in_other_gear ? 0.6 : several_gears ? 0.15 : 0.4;
      lines.push_back({strong.order, visible, LineSource::learnt, kNoOrigin});
    }
  return lines;
}

}  // namespace gearhark::tracking
