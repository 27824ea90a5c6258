#include "gearhark/diagnosis/diagnosis.hpp"

#include <algorithm>
#include <cmath>
#include <span>

#include "gearhark/diagnosis/explain.hpp"
#include "gearhark/diagnosis/hearing.hpp"
#include "gearhark/diagnosis/plan.hpp"
#include "gearhark/diagnosis/ranking.hpp"

namespace gearhark {
namespace {

constexpr double speak_up = 0.55;       // probability at which a suspect is called a finding
constexpr double least_evidence = 2.0;  // nats its own evidence must add: a prior is not a finding
constexpr double silence = 1.0;         // below this, in every part, nothing was heard
constexpr std::size_t suspects_with_lines = 3;
constexpr double enough_s = 5.0;  // of usable sound, all runs together

Suspect suspect_from(const RankedPart& ranked, const Candidate& candidate, const Car& car,
                     const std::vector<HeardRun>& runs, const std::vector<int>& index) {
  Suspect suspect;
  suspect.part = ranked.part;
  if (const Part* part = car.part(ranked.part)) suspect.name = part->name;
  suspect.fault = candidate.fault;
  suspect.probability = ranked.probability;
  suspect.log_evidence = ranked.evidence;
  suspect.cannot_be_told_from = ranked.cannot_be_told_from;
  suspect.evidence = items_of(candidate, index);
  suspect.in_words = describe(candidate, car, runs);
  return suspect;
}

double usable_seconds(const std::vector<RunReport>& reports) {
  double sum = 0.0;
  for (const RunReport& report : reports)
    if (placed(reports, report)) sum += report.quality.usable.value();
  return sum;
}

// Whether a speed found over the stated one goes with a note that is right. A needle reads high, not low;
// satellites are near. Where the gear lines could hardly be followed, only what is usual is believed.
bool believable(SpeedSource source, Certainty certainty, double scale) {
  if (certainty != Certainty::sure) return usual_scale(source, scale);
  return source == SpeedSource::needle ? scale >= 0.80 && scale <= 1.03 : scale >= 0.94 && scale <= 1.06;
}

// Whether a run's own sound fits what was said of it.
bool fits_its_note(const RunReport& report) {
  const Tracking& tracking = report.tracking;
  if (report.run.speed.source == SpeedSource::exact_shaft) return true;
  const auto& problems = report.quality.problems;
  if (std::any_of(problems.begin(), problems.end(), [](const Problem& p) { return p.serious; })) return false;
  if (tracking.certainty == Certainty::lost || report.run.gear.neutral() || tracking.gear != report.run.gear)
    return false;
  return believable(report.run.speed.source, tracking.certainty, tracking.scale);
}

// Whether the sound confirms the notes. An engine alone, at a stand, fits some gear and speed of any car, and
// by chance the stated ones (seen on phone recordings of engines at a stand, 2026-11): a run in which the
// gears are not clearly heard counts only if another one puts the needle at the same place. So does a run
// below some 25 km/h, whose turns lie too close together for an idling engine to be heard between them.
bool sound_confirms_notes(const std::vector<RunReport>& reports) {
  constexpr double same_needle = 0.03;
  constexpr double slow = 3.5;  // turns of a wheel a second
  std::vector<double> doubtful;
  for (const RunReport& report : reports) {
    if (!fits_its_note(report)) continue;
    const Tracking& tracking = report.tracking;
    if (report.run.speed.source == SpeedSource::exact_shaft) return true;
    if (tracking.certainty == Certainty::sure && tracking.wheel.mean_rate() > slow) return true;
    doubtful.push_back(tracking.scale);
  }
  std::sort(doubtful.begin(), doubtful.end());
  return std::adjacent_find(doubtful.begin(), doubtful.end(), [](double low, double high) {
           return high - low < same_needle;
         }) != doubtful.end();
}

// A knock held to a shaft is looked for at one place, which the speed and the gear say. Found there, it
// confirms both as well as the gears' own lines do.
bool knocks_where_noted(const Suspect& first, const std::vector<Candidate>& candidates,
                        const std::vector<RunReport>& reports) {
  constexpr double beyond_chance = 25.0;  // nats
  if (std::none_of(reports.begin(), reports.end(), fits_its_note)) return false;
  return std::any_of(candidates.begin(), candidates.end(), [&](const Candidate& c) {
    const bool held = c.fault == Fault::dry_joint || c.fault == Fault::chipped_tooth;
    return held && c.part == first.part && c.fault == first.fault && c.alone >= beyond_chance;
  });
}

// Left and right bearing of one axle.
bool are_a_pair(const Car& car, const std::string& one, const std::string& other) {
  const Part *a = car.part(one), *b = car.part(other);
  if (!a || !b || a->role != b->role || a->side == Corner::none || b->side == Corner::none) return false;
  const Bearing *left = car.bearing(one), *right = car.bearing(other);
  const auto driven = [&](const Bearing& bearing) {
    return std::find(car.driven_wheels.begin(), car.driven_wheels.end(), bearing.shaft) !=
           car.driven_wheels.end();
  };
  return a->side != b->side && left && right && driven(*left) == driven(*right);
}

// Left and right sound alike on a straight road; that it is one of the two may be certain all the same.
double probability_of_first(const Car& car, const std::vector<Suspect>& suspects) {
  if (suspects.empty()) return 0.0;
  const Suspect& first = suspects.front();
  double sum = first.probability.value();
  if (suspects.size() > 1 && suspects[1].fault == first.fault &&
      are_a_pair(car, first.part, suspects[1].part))
    sum += suspects[1].probability.value();
  return sum;
}

void conclude(const Car& car, Diagnosis& diagnosis, const std::vector<Candidate>& candidates,
              const std::vector<HeardRun>& heard) {
  const Suspect* first = diagnosis.suspects.empty() ? nullptr : &diagnosis.suspects.front();
  const double usable = usable_seconds(diagnosis.runs);
  if (usable < enough_s) {
    diagnosis.verdict = Verdict::cannot_tell;
    diagnosis.reason = reason_no_speed(diagnosis.runs, usable);
  } else if (!sound_confirms_notes(diagnosis.runs) &&
             !(first && knocks_where_noted(*first, candidates, diagnosis.runs))) {
    diagnosis.verdict = Verdict::cannot_tell;
    diagnosis.reason = reason_unconfirmed();
  } else if (first && probability_of_first(car, diagnosis.suspects) >= speak_up &&
             first->log_evidence >= least_evidence) {
    diagnosis.verdict = Verdict::fault_heard;
    diagnosis.reason = reason_heard(diagnosis.suspects);
  } else if (const Candidate* unlisted = unlisted_of(candidates);
             unlisted && diagnosis.unexplained.value() >= speak_up) {
    diagnosis.verdict = Verdict::cannot_tell;
    diagnosis.reason = reason_unexplained(*unlisted, heard);
  } else if (!first || std::all_of(diagnosis.suspects.begin(), diagnosis.suspects.end(),
                                   [](const Suspect& s) { return s.log_evidence < silence; })) {
    diagnosis.verdict = Verdict::no_fault_heard;
    diagnosis.reason = reason_silent();
  } else {
    diagnosis.verdict = Verdict::cannot_tell;
    diagnosis.reason = reason_unsure(*first);
  }
}

// The suspects that a next run should tell apart; where nothing could be looked at, all parts of the car.
std::vector<Hypothesis> hypotheses_of(const Diagnosis& diagnosis, const Car& car) {
  if (diagnosis.suspects.empty()) return hypotheses_for(car, {});
  constexpr std::size_t enough = 8;
  std::vector<Hypothesis> hypotheses;
  for (std::size_t i = 0; i < std::min(enough, diagnosis.suspects.size()); ++i) {
    const Suspect& suspect = diagnosis.suspects[i];
    // What shares a place because these runs can't part it, left and right of an axle say, a next run may
    // part.
    const Probability each(suspect.probability.value() /
                           static_cast<double>(1 + suspect.cannot_be_told_from.size()));
    hypotheses.push_back({suspect.part, suspect.fault, each});
    for (const std::string& twin : suspect.cannot_be_told_from)
      hypotheses.push_back({twin, suspect.fault, each});
  }
  return hypotheses;
}

// Speeds as the needle of the runs shows them.
RunLimits limits_in_unit_of(const Diagnosis& diagnosis) {
  RunLimits limits;
  if (!diagnosis.runs.empty()) limits.unit = diagnosis.runs.front().run.speed.unit;
  return limits;
}

}  // namespace

std::string to_text(Verdict verdict) {
  switch (verdict) {
    case Verdict::fault_heard:
      return "fault heard";
    case Verdict::no_fault_heard:
      return "no fault heard";
    case Verdict::cannot_tell:
      break;
  }
  return "can't tell";
}

Diagnosis diagnose(const Car& car, const std::vector<RunSound>& sounds) {
  Hearing hearing = hear(car, sounds);
  return diagnosis_of(car, hearing);
}

Diagnosis diagnosis_of(const Car& car, Hearing& hearing, const Experience& experience) {
  Diagnosis diagnosis;
  diagnosis.car_name = car.name;
  auto& heard = hearing.heard;
  auto& candidates = hearing.candidates;
  const Ranking ranking = rank(car, candidates, experience);
  diagnosis.earlier_findings = experience.findings;
  if (!ranking.parts.empty()) {
    diagnosis.no_fault = ranking.no_fault;
    diagnosis.unexplained = ranking.unexplained;
  }
  for (std::size_t i = 0; i < ranking.parts.size(); ++i) {
    Candidate& candidate = candidates[ranking.parts[i].best];
    if (i < suspects_with_lines) show_lines(candidate, heard);
    diagnosis.suspects.push_back(suspect_from(ranking.parts[i], candidate, car, heard, hearing.index));
  }
  diagnosis.runs = hearing.runs;
  conclude(car, diagnosis, candidates, heard);
  diagnosis.next_run = best_next_run(car, hypotheses_of(diagnosis, car), limits_in_unit_of(diagnosis));
  diagnosis.cautions = cautions_for(diagnosis, car);
  return diagnosis;
}

}  // namespace gearhark
