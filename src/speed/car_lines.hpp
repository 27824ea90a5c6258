// Which of the car's predicted lines tracking listens to, and how likely each is to be heard.
#pragma once

#include <optional>
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

}  // namespace gearhark::tracking
