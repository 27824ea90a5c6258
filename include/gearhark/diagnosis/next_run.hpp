// Which runs to record: those whose outcome is expected to tell the suspects apart best.
//
// Each suspect, were it the fault, would raise its own evidence and that of every suspect whose lines
// coincide with its own in that run, by as much as it is audible there. Lines that fall on what a healthy car
// sounds do not count, nor do notes too low for a phone; a suspect of unknown size is looked for over its
// whole range. Between two suspects the expected outcomes lie some distance apart, however loud either is
// within reason; the expected drop in entropy follows from all the distances (a lower bound of the mutual
// information for Gaussian outcomes: Kolchinsky and Tracey 2017, Entropy 19(7) 361).
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "gearhark/car/lines.hpp"
#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/units/quantity.hpp"
#include "gearhark/units/text.hpp"

namespace gearhark {

// A suspect as the planner sees it. Several faults of one part may stand side by side: what is asked is the
// part.
struct Hypothesis {
  std::string part;
  Fault fault = Fault::outer_race;
  Probability probability;
};

struct RunLimits {
  Speed slowest{25.0 / 3.6}, fastest{50.0 * 0.44704};
  double engine_low_rpm = 1200.0, engine_high_rpm = 4200.0;
  bool turns_allowed = true;        // gentle bends, where the place allows them
  SpeedUnit unit = SpeedUnit::kmh;  // of the needle: speeds are round figures of it
};

// Every run worth recording with this car within the limits: gears x loads x speeds that a needle shows,
// bends, rolling in neutral and, where there is a release bearing, the same with the pedal down.
std::vector<NextRun> feasible_runs(const Car& car, const RunLimits& limits);

// Expected drop in entropy (nats) of the question which part it is, by these runs together. "No fault" is the
// rest of the probability.
double expected_entropy_drop(const Car& car, std::span<const Hypothesis> hypotheses,
                             std::span<const NextRun> runs);

// How many runs are worth their petrol.
struct Effort {
  std::size_t most_runs = 5;
  double least_gain = 0.05;  // nats that one more run must add
};
// The feasible runs that add most, one after the other, each with what it adds and the reason in words. None
// has the gear, load and turn of another. Empty when no run would help.
std::vector<NextRun> best_runs(const Car& car, std::span<const Hypothesis> hypotheses,
                               const RunLimits& limits, const Effort& effort);

// The first of them.
std::optional<NextRun> best_next_run(const Car& car, std::span<const Hypothesis> hypotheses,
                                     const RunLimits& limits);

}  // namespace gearhark
