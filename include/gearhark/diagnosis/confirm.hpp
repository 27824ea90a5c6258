// One suspect before anything is taken apart: what speaks for it and against it in each run, and how loud its
// fault would have to be to be found in these very recordings.
//
// For the loudness, the fault is synthesised for this car at the shaft angle found in the run, added to the
// recording at several levels, each time with another character of the fault, and looked for again with the
// same evidence as in a diagnosis. A logistic curve through found and not found gives the level that is found
// 9 times in 10.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/units/result.hpp"

namespace gearhark {

// Of confirm() with an allowance for faults that sound otherwise than those put in.
struct Loudness {
  Decibels
      found_9_in_10;  // of the fault over all else in this run, in the third-octave where it stands out most
  int tried = 0, found = 0;
};

struct ConfirmRun {
  int recording = 0;                       // index into Confirmation::runs
  double heard = 0.0, enough = 0.0;        // evidence of this run alone; what would make it a finding
  std::vector<EvidenceItem> lines;         // looked for
  double expected_loudness = 1.0;          // by trade practice, of its loudest state; 0: silent in this run
  int injected = 0;                        // 0: heard already, so nothing was put in
  std::optional<Loudness> would_be_heard;  // nothing with injections: even the loudest was not found
};

enum class ConfirmVerdict { heard, not_heard, could_not_show };
std::string to_text(ConfirmVerdict verdict);  // "heard", "not heard", "these recordings could not show it"

struct Confirmation {
  std::string car_name, part, name;
  Fault fault = Fault::outer_race;
  ConfirmVerdict verdict = ConfirmVerdict::could_not_show;
  std::string reason;
  Probability probability;           // in the diagnosis of the same runs, all suspects considered
  double heard = 0.0, enough = 0.0;  // all runs together
  std::optional<Loudness> most_sensitive;
  std::vector<ConfirmRun> by_run;  // of the runs in which the part turns and the speed is known
  std::vector<RunReport> runs;
  std::optional<NextRun> next_run;
  std::vector<std::string> cautions;
};

struct ConfirmSettings {
  std::optional<Fault> fault;                        // nothing: the likeliest of the part's
  int injections = 12;                               // per run
  std::function<void(const std::string&)> progress;  // what is being done; may be empty
};

// Errors: a part the car lacks, or one that no fault is known of; a fault it can't have.
Result<Confirmation> confirm(const Car& car, const std::vector<RunSound>& sounds, const std::string& part,
                             const ConfirmSettings& settings);

// The level that is found 9 times in 10, from trials of which some were found; nothing when none was.
struct Trial {
  double level_db = 0.0;
  bool found = false;
};
std::optional<Loudness> loudness_found(const std::vector<Trial>& trials);

}  // namespace gearhark
