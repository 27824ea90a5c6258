// Plain words for what was heard. Sentences are made here, from values; the report only lays them out.
#pragma once

#include <string>
#include <vector>

#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/evidence/candidates.hpp"

namespace gearhark {

// "outer race, 2nd harmonic", "inner race, 1st harmonic, 1 shaft turn below"
std::string words_for_line(const Candidate& candidate, const SeenLine& line);

// "a growl that follows road speed, 3.58 per turn of the pinion, slip 0.9 %, loudest between 1.5 and 3.5 kHz:
// the outer race of the pinion head bearing".
std::string describe(const Candidate& candidate, const Car& car, const std::vector<HeardRun>& runs);

// A line is shown as found when noise alone is as strong with a chance below this.
inline constexpr double shown_chance = 0.01;

// The lines of a candidate as evidence; index: of each heard run among all recordings.
std::vector<EvidenceItem> items_of(const Candidate& candidate, const std::vector<int>& index);

// Parts that can let go of a wheel or of a turning shaft when they fail.
bool hurts_to_drive_on(PartRole role);

// Names the second, too, where it is not ruled out. Most likely first, one at least.
std::string reason_heard(const std::vector<Suspect>& suspects);
std::string reason_silent();
std::string reason_unconfirmed();
std::string reason_unsure(const Suspect& first);
// A noise of no part in the car file.
std::string reason_unexplained(const Candidate& unlisted, const std::vector<HeardRun>& runs);
std::string reason_no_speed(const std::vector<RunReport>& runs, double usable_s);

// What to mind, first where driving on can hurt.
std::vector<std::string> cautions_for(const Diagnosis& diagnosis, const Car& car);
std::vector<std::string> cautions_about(const Car& car, const std::vector<std::string>& suspects);

}  // namespace gearhark
