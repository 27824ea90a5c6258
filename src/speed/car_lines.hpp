// Which of the car's predicted lines tracking listens to, and how likely each is to be heard.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "gearhark/car/lines.hpp"
#include "gearhark/speed/angle_search.hpp"

namespace gearhark::tracking {

// TrackingLine::origin indexes `predicted`; tread lines that nobody predicted have kNoOrigin.
inline constexpr std::size_t kNoOrigin = static_cast<std::size_t>(-1);

struct CarLines {
  std::vector<Line> predicted;
  std::vector<TrackingLine> wheel;   // orders per wheel turn
  std::vector<TrackingLine> engine;  // orders per engine turn; only where engine and road are not tied
  bool tied = true;                  // engine and road are one
  double spread = 0.0;               // largest relative tolerance among the lines used
};

// Error: a gear the car lacks.
Result<CarLines> car_lines(const Car& car, const DriveState& state);

std::vector<TrackingLine> lines_from(LineSource source, std::span<const TrackingLine> lines);

// The lines by which the road is sought with the pedal down: the tread may lie at any whole order.
std::vector<TrackingLine> without_tread(std::span<const TrackingLine> lines);

// Leaves out the lines on an engine's half orders, where any engine may sound.
void leave_out_half_orders(std::vector<TrackingLine>& lines, double half_order);

}  // namespace gearhark::tracking
