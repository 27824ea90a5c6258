// Which run to record next: the one whose outcome is expected to tell the suspects apart best.
//
// Each suspect, were it the fault, would raise its own evidence and that of every suspect whose lines
// coincide with its own in that run, by as much as it is audible there. Between two suspects the expected
// outcomes lie some distance apart; the expected drop in entropy follows from all the distances (a lower
// bound of the mutual information for Gaussian outcomes: Kolchinsky and Tracey 2017, Entropy 19(7) 361).
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gearhark/car/lines.hpp"
#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/units/quantity.hpp"

namespace gearhark {

// A suspect as the planner sees it.
struct Hypothesis {
  std::string part;
  Fault fault = Fault::outer_race;
  Probability probability;
};

struct RunLimits {
  Speed slowest{25.0 / 3.6}, fastest{90.0 / 3.6};
  double engine_low_rpm = 1200.0, engine_high_rpm = 4200.0;
  Seconds duration{30.0};
  bool turns_allowed = true;  // gentle bends, where the place allows them
};

// Every run worth recording with this car within the limits: gears x loads x a few speeds, bends, and rolling
// in neutral.
std::vector<NextRun> feasible_runs(const Car& car, const RunLimits& limits);

// Expected drop in entropy (nats) of this ranking by this run. "No fault" is the rest of the probability.
double expected_entropy_drop(const Car& car, const std::vector<Hypothesis>& hypotheses, const NextRun& run);

// The best of the feasible runs, with the reason in words; nothing when no run would help.
std::optional<NextRun> best_next_run(const Car& car, const std::vector<Hypothesis>& hypotheses,
                                     const RunLimits& limits);

}  // namespace gearhark
