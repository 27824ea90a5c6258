// From a road test to a verdict: the value that text, JSON and the page are renderings of.
//
//   runs -> (per run) shaft angle -> evidence per family -> combined over runs -> ranking -> Diagnosis
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "gearhark/car/lines.hpp"
#include "gearhark/recording/quality.hpp"
#include "gearhark/speed/tracking.hpp"

namespace gearhark {

enum class Verdict { fault_heard, no_fault_heard, cannot_tell };
std::string to_text(Verdict verdict);  // "fault heard", "no fault heard", "can't tell"

// One line (or group of lines) looked for in one run.
struct EvidenceItem {
  int recording = 0;  // index into Diagnosis::runs
  std::string kind;   // "outer race harmonic 2", "mesh sidebands", ...
  Order order;        // per driven-wheel turn (per engine turn where engine_bound)
  bool engine_bound = false;
  Hertz frequency;            // at the run's mean rate
  Decibels above_background;  // of the line's power in its band
  double chance = 1.0;        // probability that noise alone does this at a place chosen beforehand
  bool found = false;         // chance small enough to show as found
};

struct Suspect {
  std::string part;  // part ID of the car file
  std::string name;
  Fault fault = Fault::outer_race;
  Probability probability;
  double log_evidence = 0.0;                     // nats against "nothing there", all runs together
  std::vector<std::string> cannot_be_told_from;  // part IDs
  std::vector<EvidenceItem> evidence;
  std::string in_words;  // "a growl at 3.6 per pinion turn, in every gear, louder under power"
};

struct RunReport {
  Run run;
  RecordingFacts facts;
  RecordingQuality quality;
  Tracking tracking;
  ShaftRate mean_wheel, mean_wheel_sd;
  std::vector<std::string> problems;  // of the recording and of the speed, one sentence each
  std::optional<Stretch> excerpt;     // of a long run: the part that is shown and played for all of it
};

// A run proposed next and why.
struct NextRun {
  Gear gear;
  Load load = Load::drive;
  Turn turn = Turn::straight;
  Speed speed;
  Seconds duration{30.0};
  double expected_entropy_drop = 0.0;  // nats
  std::string because;
  Clutch clutch = Clutch::engaged;
};

struct Diagnosis {
  std::string car_name;
  Verdict verdict = Verdict::cannot_tell;
  std::string reason;  // one sentence: why this verdict
  // Most probable first; every part that turns. None: no run could be placed, so nothing was looked at.
  std::vector<Suspect> suspects;
  Probability no_fault, unexplained;  // sum with the suspects' probabilities: 1; without suspects both 0
  std::vector<RunReport> runs;
  std::optional<NextRun> next_run;
  std::vector<std::string> cautions;
  std::vector<std::string> left_out;  // of a bundle: what of it was not used and why
  int earlier_findings = 0;           // teardown findings of a casebook that weigh in the probabilities
};

// A run with its sound, cut to the run: the samples begin at run.from, and the times of the stated speed
// count from there. Pure core: no file is touched from here on, but through the pieces of a long run.
struct RunSound {
  Run run;
  Recording recording;                                    // of a long run: without samples
  std::shared_ptr<const LongRecording> pieces = nullptr;  // of a long run
};
// Cuts a whole recording to run.from .. run.to and puts the end of a sweep at its end. Errors: the part lies
// outside the recording.
// `starts`: where in the file the recording begins, if it was not loaded from the file's start.
Result<RunSound> run_sound(Run run, Recording whole, Seconds starts = Seconds(0.0));
// Of a recording that was loaded from run.from to run.to, and may be long.
Result<RunSound> run_sound(Run run, LoadedSound loaded);

Diagnosis diagnose(const Car& car, const std::vector<RunSound>& runs);

}  // namespace gearhark
