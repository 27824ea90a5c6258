// The last refinement: the phases of the lines that can be followed.
#pragma once

#include <span>
#include <vector>

#include "gearhark/speed/angle_search.hpp"
#include "ratios.hpp"

namespace gearhark::tracking {

struct PhaseError {
  double step_s = 0.05;
  std::vector<double> turns;   // angle error over flat time, to be added to the angle
  std::vector<bool> followed;  // per line
  int lines = 0;
  double relative_sd = 0.0;  // of the mean rate, from the residuals
};

struct PhaseSettings {
  Steadiness steadiness = Steadiness::steady;
  double window_s = 0.4;
  double lowest_hz = 55.0;
};

// Demodulates every line (Hann 0.4 s, hop 0.05 s), keeps those that stand out half of the time and minimises
// over e
//   sum over lines and lags of w (arg[z(t+L) z*(t)] - 2 pi order (e(t+L) - e(t)))^2 + (1/q) integral e''^2.
PhaseError phase_error(const FlatSound& flat, std::span<const TrackingLine> lines, PhaseSettings settings);

}  // namespace gearhark::tracking
