// What several reports show alike: lines of evidence and the next run.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "gearhark/diagnosis/diagnosis.hpp"

namespace gearhark::report {

// A table of the lines that were found, at most so many; a sentence when none stands out.
std::string found_lines(const std::vector<EvidenceItem>& lines, std::size_t most);
std::string next_run(const NextRun& run, SpeedUnit unit);

nlohmann::ordered_json evidence_json(const EvidenceItem& item);

}  // namespace gearhark::report
