// A short road test that tells the suspects apart best.
//
//   car + suspects -> hypotheses -> runs, one after the other by what each adds -> what stays alike
#pragma once

#include <string>
#include <vector>

#include "gearhark/diagnosis/next_run.hpp"
#include "gearhark/units/result.hpp"

namespace gearhark {

struct PlanQuestion {
  std::vector<std::string> suspects;  // part IDs; empty: every part of the car
  RunLimits limits;
  Effort effort;
};

struct Plan {
  std::string car_name;
  std::vector<std::string> suspects;  // as asked
  std::vector<std::string> suspect_names;
  SpeedUnit unit = SpeedUnit::kmh;
  std::vector<std::string> gears;  // labels of every gear of the car
  std::string car_file;            // its text, where the caller puts it here; for the recorder
  std::vector<NextRun>
      runs;              // in driving order; expected_entropy_drop is what each adds to those chosen before
  double entropy = 0.0;  // of the question which part it is, before the runs, nats
  double expected_drop = 0.0;  // by all runs together, nats
  // Parts that these runs hardly tell from one another, and such as would hardly be heard at all: names.
  std::vector<std::vector<std::string>> alike;
  std::vector<std::string> unheard;
  std::vector<std::string> cautions, how_to_record;
};

// Error: a suspect that the car lacks (the sentence has the nearest IDs).
Result<Plan> plan(const Car& car, const PlanQuestion& question);

// What the plan starts from. No suspects: one representative fault of each part, all as likely. Suspects:
// every fault of theirs, with most of the probability; the other parts share the rest. Some is left for "no
// fault".
std::vector<Hypothesis> hypotheses_for(const Car& car, const std::vector<std::string>& suspects);

}  // namespace gearhark
