// Equal steps of shaft angle over a run.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "gearhark/speed/tracking.hpp"

namespace gearhark {

struct EqualAngle {
  double first_turn = 0.0, turns = 0.0;
  std::size_t points = 0;  // equally spaced in these turns; a good FFT length
  std::vector<double>
      times;  // seconds at which they are reached; fewer than points where the shaft turned less
  [[nodiscard]] double step() const { return turns / static_cast<double>(points); }
};

// Times at which `count` equal steps of `step_turns` from turn `first` begin.
std::vector<double> times_of_equal_angle(const AngleTrack& shaft, double first, double step_turns,
                                         std::size_t count);

// From 0 to `duration_s`, fine enough that at the slowest moment there are as many points a second as
// `rate_hz`. `turns`: of the grid, whatever the shaft turned: what it turned more is left out.
EqualAngle equal_angle(const AngleTrack& shaft, double duration_s, double rate_hz,
                       std::optional<double> turns = {});

// A tapered cosine window (Tukey 1967) over the first `count` points: `share` of them, half at either end,
// rise and fall as in a Hann window, which is that with all of them.
void taper(std::vector<float>& values, std::size_t count, double share = 1.0);

}  // namespace gearhark
