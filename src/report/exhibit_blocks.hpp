// Exhibits as markup, and what the interactive charts draw of them.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "gearhark/diagnosis/exhibits.hpp"
#include "gearhark/repair/clips.hpp"
#include "page_frame.hpp"

namespace gearhark::report {

// How it shows in each run.
std::string levels(const std::vector<RunReport>& runs, const SuspectExhibit& exhibit);
// Spectra and map. `id` begins the names of its charts.
std::string pictures(const std::string& id, const std::vector<RunReport>& runs,
                     const SuspectExhibit& exhibit);
std::string player(const Clip& clip);
std::string speeds(const std::vector<RunReport>& runs, const Exhibits& exhibits);
std::string car_lines(const std::vector<RunReport>& runs, const Exhibits& exhibits);

void add_drawn(nlohmann::ordered_json& charts, const std::string& id, const SuspectExhibit& exhibit);
// Makes the page interactive, if there is anything to draw.
void put_in(Page& page, const nlohmann::ordered_json& charts);

}  // namespace gearhark::report
