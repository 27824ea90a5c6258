// Equal steps of shaft angle over a run.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "gearhark/speed/tracking.hpp"

namespace gearhark {

struct EqualAngle {
  double first_turn = 0.0, turns = 0.0;
  std::size_t points = 0;   // equally spaced in these turns; a good FFT length
  std::size_t reached = 0;  // fewer where the shaft turned less
  [[nodiscard]] double step() const { return turns / static_cast<double>(points); }
};

// Times (seconds) at which equal steps of `step_turns` from turn `first_turn` begin; `shaft` is kept by
// reference. Asked for in rising order they cost least.
class TimesOfEqualAngle {
 public:
  TimesOfEqualAngle(const AngleTrack& shaft, double first_turn, double step_turns)
      : shaft_(shaft), first_turn_(first_turn), step_turns_(step_turns) {}
  // Of steps first, first + 1 ...
  void operator()(std::size_t first, std::span<double> times);

 private:
  const AngleTrack& shaft_;
  double first_turn_, step_turns_;
  std::size_t cell_ = 0;  // of the track, where the last was found
};

// The sound at those times, from the first on.
std::vector<float> by_equal_angle(std::span<const float> samples, double rate_hz, const AngleTrack& shaft,
                                  double first_turn, double step_turns, std::size_t count);

// From 0 to `duration_s`, fine enough that at the slowest moment there are as many points a second as
// `rate_hz`. `turns`: of the grid, whatever the shaft turned: what it turned more is left out.
EqualAngle equal_angle(const AngleTrack& shaft, double duration_s, double rate_hz,
                       std::optional<double> turns = {});

// A tapered cosine window (Tukey 1967) over the first `count` points: `share` of them, half at either end,
// rise and fall as in a Hann window, which is that with all of them.
void taper(std::vector<float>& values, std::size_t count, double share = 1.0);

}  // namespace gearhark
