#include "gearhark/evidence/angle_grid.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "gearhark/signal/fft.hpp"
#include "gearhark/signal/resample.hpp"

namespace gearhark {

void TimesOfEqualAngle::operator()(std::size_t first, std::span<double> times) {
  const std::vector<double>& turns = shaft_.turns;
  const std::size_t last = first + times.size();
  const auto wanted = [&](std::size_t i) { return first_turn_ + static_cast<double>(i) * step_turns_; };
  while (cell_ > 0 && turns[cell_] >= wanted(first)) --cell_;
  for (std::size_t i = first, end = first; i < last; i = end) {  // those within one cell
    while (cell_ + 2 < turns.size() && turns[cell_ + 1] < wanted(i)) ++cell_;
    const double before = turns[cell_], up_to = turns[cell_ + 1], advance = std::max(up_to - before, 1e-9);
    const double about = static_cast<double>(i) + (up_to - wanted(i)) / step_turns_;
    const bool all = cell_ + 2 >= turns.size() || !(about < static_cast<double>(last));
    end = all ? last : std::max(i + 1, static_cast<std::size_t>(about));
    while (end > i + 1 && !all && wanted(end - 1) > up_to) --end;
    while (end < last && wanted(end) <= up_to) ++end;
    for (int k = static_cast<int>(i); k < static_cast<int>(end); ++k)
      times[static_cast<std::size_t>(k) - first] =
          (static_cast<double>(cell_) + ((first_turn_ + k * step_turns_) - before) / advance) * shaft_.step_s;
  }
}

std::vector<float> by_equal_angle(std::span<const float> samples, double rate_hz, const AngleTrack& shaft,
                                  double first_turn, double step_turns, std::size_t count) {
  std::vector<float> values(count);
  resample_at(samples, rate_hz, TimesOfEqualAngle(shaft, first_turn, step_turns), values);
  return values;
}

EqualAngle equal_angle(const AngleTrack& shaft, double duration_s, double rate_hz,
                       std::optional<double> turns) {
  EqualAngle grid;
  grid.first_turn = shaft.at(0.0);
  const double turned = shaft.at(duration_s) - grid.first_turn;
  grid.turns = turns.value_or(turned);
  double slowest = turned / duration_s;
  for (double t = 0.0; t < duration_s; t += shaft.step_s) slowest = std::min(slowest, shaft.rate_at(t));
  // A stop in the middle must not blow the grid up: below a fifth of the mean rate the top of the band is
  // given up.
  const double per_turn = 1.02 * rate_hz / std::max(slowest, 0.2 * turned / duration_s);
  grid.points = good_length(static_cast<std::size_t>(std::ceil(grid.turns * per_turn)));
  grid.reached = turns ? std::min(grid.points, static_cast<std::size_t>(turned / grid.step())) : grid.points;
  return grid;
}

void taper(std::vector<float>& values, std::size_t count, double share) {
  // Cosines of sums: of every block's start and of the places in a block.
  constexpr std::size_t block = 64;
  const auto rising = static_cast<std::size_t>(0.5 * share * static_cast<double>(count));
  const double step = 2 * std::numbers::pi / (share * static_cast<double>(count));
  std::array<float, block> cosine{}, sine{};
  for (std::size_t k = 0; k < block; ++k) {
    cosine[k] = static_cast<float>(std::cos(step * static_cast<double>(k)));
    sine[k] = static_cast<float>(std::sin(step * static_cast<double>(k)));
  }
  for (std::size_t from = 0; from < rising; from += block) {
    const auto c = static_cast<float>(std::cos(step * static_cast<double>(from)));
    const auto s = static_cast<float>(std::sin(step * static_cast<double>(from)));
    const std::size_t held = std::min(block, rising - from);
    for (std::size_t k = 0; k < held; ++k) {
      const float weight = 0.5f - 0.5f * (c * cosine[k] - s * sine[k]);
      values[from + k] *= weight;
      if (from + k > 0) values[count - from - k] *= weight;
    }
  }
}

}  // namespace gearhark
