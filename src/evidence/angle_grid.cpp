#include "gearhark/evidence/angle_grid.hpp"

#include <algorithm>
#include <cmath>

#include "gearhark/signal/fft.hpp"

namespace gearhark {

std::vector<double> times_of_equal_angle(const AngleTrack& shaft, double first, double step_turns,
                                         std::size_t count) {
  std::vector<double> times(count);
  std::size_t cell = 0;
  const std::vector<double>& turns = shaft.turns;
  for (std::size_t i = 0; i < count; ++i) {
    const double wanted = first + static_cast<double>(i) * step_turns;
    while (cell + 2 < turns.size() && turns[cell + 1] < wanted) ++cell;
    const double advance = std::max(turns[cell + 1] - turns[cell], 1e-9);
    times[i] = (static_cast<double>(cell) + (wanted - turns[cell]) / advance) * shaft.step_s;
  }
  return times;
}

EqualAngle equal_angle(const AngleTrack& shaft, double duration_s, double rate_hz) {
  EqualAngle grid;
  grid.first_turn = shaft.at(0.0);
  grid.turns = shaft.at(duration_s) - grid.first_turn;
  double slowest = grid.turns / duration_s;
  for (double t = 0.0; t < duration_s; t += shaft.step_s) slowest = std::min(slowest, shaft.rate_at(t));
  // A stop in the middle must not blow the grid up: below a fifth of the mean rate the top of the band is
  // given up.
  const double per_turn = 1.02 * rate_hz / std::max(slowest, 0.2 * grid.turns / duration_s);
  const std::size_t points = good_length(static_cast<std::size_t>(std::ceil(grid.turns * per_turn)));
  grid.times = times_of_equal_angle(shaft, grid.first_turn, grid.turns / static_cast<double>(points), points);
  return grid;
}

}  // namespace gearhark
