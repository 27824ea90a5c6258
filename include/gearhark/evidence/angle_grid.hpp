// Equal steps of shaft angle over a run.
#pragma once

#include <cstddef>
#include <vector>

#include "gearhark/speed/tracking.hpp"

namespace gearhark {

struct EqualAngle {
  double first_turn = 0.0, turns = 0.0;
  std::vector<double> times;  // seconds at which each of equally spaced angles is reached; a good FFT length
  [[nodiscard]] double step() const { return turns / static_cast<double>(times.size()); }
};

// Times at which `count` equal steps of `step_turns` from turn `first` begin.
std::vector<double> times_of_equal_angle(const AngleTrack& shaft, double first, double step_turns,
                                         std::size_t count);

// From 0 to `duration_s`, fine enough that at the slowest moment there are as many points a second as
// `rate_hz`.
EqualAngle equal_angle(const AngleTrack& shaft, double duration_s, double rate_hz);

}  // namespace gearhark
