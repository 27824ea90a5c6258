// What a road test's runs say before anything is ranked.
//
//   runs -> (each) quality, shaft angle -> spectra per turn -> evidence for each fault, all runs together
#pragma once

#include <map>
#include <vector>

#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/diagnosis/ranking.hpp"
#include "gearhark/evidence/candidates.hpp"
#include "gearhark/evidence/heard_run.hpp"

namespace gearhark {

struct Hearing {
  std::vector<RunReport> runs;  // as given; of a long run tracking.wheel and .engine are those of its excerpt
  std::vector<int> index;       // of each heard run in `runs`: those whose shaft angle may be relied on
  std::vector<HeardRun> heard;
  std::vector<Candidate> candidates;
  std::map<std::size_t, Recording> excerpts;  // by run: the long ones, the part that their tracking is about
  // What a run's tracking is about: its sound, or the excerpt.
  [[nodiscard]] const Recording& sound_of(std::size_t run, const std::vector<RunSound>& sounds) const {
    const auto excerpt = excerpts.find(run);
    return excerpt == excerpts.end() ? sounds[run].recording : excerpt->second;
  }
};
Hearing hear(const Car& car, const std::vector<RunSound>& sounds);

// The speed of a long run alone; its angles are a second apart.
Tracking tracked_in_pieces(const Car& car, const RunSound& sound);
// Of a long run the part in which its speed is surest, as a run of its own; other runs as they are.
RunSound clearest_part(const Car& car, RunSound sound);
// Of all its sound, held or not.
Seconds length_of(const RunSound& sound);

// The diagnosis of what was heard. Fills in the lines of the first suspects, for those who show them.
Diagnosis diagnosis_of(const Car& car, Hearing& hearing, const Experience& experience = {});

// Whether a run's shaft angle may be relied on: found in its own sound, or in gear with another run of the
// same car that was (a run alone may lack the gear lines that would prove it; its place within the common
// speedometer error does not).
bool placed(const std::vector<RunReport>& reports, const RunReport& report);

}  // namespace gearhark
