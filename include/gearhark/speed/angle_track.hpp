// A shaft's angle over time.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace gearhark {

// Angle on a uniform time grid that starts at 0 s. Cubic in between (Hermite, slopes by central differences),
// extrapolated at the end rates.
struct AngleTrack {
  double step_s = 0.05;
  std::vector<double> turns;  // shaft angle at i * step_s
  [[nodiscard]] double at(double seconds) const;
  // out[i] = at((first + i) / rate_hz), quicker.
  void at_each(double rate_hz, std::size_t first, std::span<double> out) const;
  [[nodiscard]] double rate_at(double seconds) const;  // turns per second
  [[nodiscard]] double mean_rate() const;              // total turns over total time
  // The time at which the angle is reached; the track must be rising.
  [[nodiscard]] double time_of(double angle, double near_seconds) const;
  [[nodiscard]] double duration() const {
    return turns.empty() ? 0.0 : static_cast<double>(turns.size() - 1) * step_s;
  }
};

// Angle of a rate (turns/s) given on the same grid, by the trapezoidal rule; starts at 0.
AngleTrack integrate(const std::vector<double>& rates, double step_s);

}  // namespace gearhark
