// Pieces of pages, as markup.
#pragma once

#include <string>
#include <vector>

#include "gearhark/diagnosis/diagnosis.hpp"

namespace gearhark::report {

std::string capital(std::string text);

// Told apart without colour: a full square for what was heard, a ring for what was not, a half ring for what
// can't be told.
enum class Sign { full, ring, half };
std::string verdict_line(Sign sign, const std::string& verdict);

// The first screen below the verdict: two columns where there is room.
std::string columns(const std::string& left, const std::string& right);
std::string mind(const std::vector<std::string>& cautions, const std::string& heading = "Mind");
std::string record_next(const std::optional<NextRun>& run, SpeedUnit unit);

// One row of a ranking. kind: class.
std::string ranked(const std::string& kind, const std::string& label, Probability p);

std::string lines_table(const std::vector<EvidenceItem>& lines);
// What each recording is worth.
std::string recordings(const std::vector<RunReport>& runs);
// What of a bundle was not used, "" for nothing.
std::string not_used(const std::vector<std::string>& sentences);

}  // namespace gearhark::report
