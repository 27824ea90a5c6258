#include "gearhark/speed/angle_track.hpp"

#include <algorithm>
#include <cmath>

namespace gearhark {
namespace {

// Slope at node i, per step.
double slope(const std::vector<double>& y, std::size_t i) {
  if (i == 0) return y[1] - y[0];
  if (i + 1 == y.size()) return y[i] - y[i - 1];
  return 0.5 * (y[i + 1] - y[i - 1]);
}

struct Cell {
  std::size_t index;
  double fraction;
};

Cell cell(double position, std::size_t nodes) {
  const auto index = static_cast<std::size_t>(std::clamp(position, 0.0, static_cast<double>(nodes - 2)));
  return {index, position - static_cast<double>(index)};
}

}  // namespace

double AngleTrack::at(double seconds) const {
  if (turns.size() < 2) return turns.empty() ? 0.0 : turns[0];
  const double position = seconds / step_s;
  const double last = static_cast<double>(turns.size() - 1);
  if (position < 0.0) return turns.front() + position * slope(turns, 0);
  if (position > last) return turns.back() + (position - last) * slope(turns, turns.size() - 1);
  const auto [i, u] = cell(position, turns.size());
  const double a = slope(turns, i), b = slope(turns, i + 1), rise = turns[i + 1] - turns[i];
  return turns[i] + u * (a + u * ((3.0 * rise - 2.0 * a - b) + u * (a + b - 2.0 * rise)));
}

void AngleTrack::at_each(double rate_hz, std::size_t first, std::span<double> out) const {
  const auto position = [&](std::size_t i) { return static_cast<double>(i) / rate_hz / step_s; };
  const std::size_t last = first + out.size();
  std::size_t i = first;
  for (auto c = static_cast<std::size_t>(position(i)); c + 1 < turns.size() && i < last; ++c) {  // by cell
    const auto next = static_cast<double>(c + 1);
    std::size_t end = std::min(last, static_cast<std::size_t>(next * step_s * rate_hz));
    while (end > i && position(end - 1) >= next) --end;
    while (end < last && position(end) < next) ++end;
    const double start = turns[c], a = slope(turns, c), b = slope(turns, c + 1), rise = turns[c + 1] - start;
    for (int k = static_cast<int>(i); k < static_cast<int>(end); ++k) {
      const double u = k / rate_hz / step_s - static_cast<double>(c);
      out[static_cast<std::size_t>(k) - first] =
          start + u * (a + u * ((3.0 * rise - 2.0 * a - b) + u * (a + b - 2.0 * rise)));
    }
    i = std::max(i, end);
  }
  for (; i < last; ++i) out[i - first] = at(static_cast<double>(i) / rate_hz);
}

double AngleTrack::rate_at(double seconds) const {
  if (turns.size() < 2) return 0.0;
  const double last = static_cast<double>(turns.size() - 1);
  const double position = std::clamp(seconds / step_s, 0.0, last);
  const auto [i, u] = cell(position, turns.size());
  const double a = slope(turns, i), b = slope(turns, i + 1), rise = turns[i + 1] - turns[i];
  return (a + u * (2.0 * (3.0 * rise - 2.0 * a - b) + 3.0 * u * (a + b - 2.0 * rise))) / step_s;
}

double AngleTrack::mean_rate() const {
  return turns.size() < 2 ? 0.0 : (turns.back() - turns.front()) / duration();
}

double AngleTrack::time_of(double angle, double near_seconds) const {
  double t = near_seconds;
  for (int i = 0; i < 8; ++i) {
    const double change = (angle - at(t)) / std::max(rate_at(t), 1e-3);
    t += change;
    if (std::abs(change) < 1e-9) break;
  }
  return t;
}

AngleTrack integrate(const std::vector<double>& rates, double step_s) {
  AngleTrack track{step_s, std::vector<double>(rates.size(), 0.0)};
  for (std::size_t i = 1; i < rates.size(); ++i)
    track.turns[i] = track.turns[i - 1] + 0.5 * step_s * (rates[i - 1] + rates[i]);
  return track;
}

}  // namespace gearhark
