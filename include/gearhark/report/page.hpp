// Report pages: one HTML file each that opens by itself, offline, and asks for nothing. Renderings: every
// number in them stands in the values handed in.
#pragma once

#include <string>
#include <vector>

#include "gearhark/diagnosis/confirm.hpp"
#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/diagnosis/exhibits.hpp"
#include "gearhark/diagnosis/plan.hpp"
#include "gearhark/repair/clips.hpp"
#include "gearhark/repair/compare.hpp"

namespace gearhark {

std::string diagnosis_page(const Diagnosis& diagnosis, const Exhibits& exhibits,
                           const std::vector<Clip>& clips);
// exhibits, clips: of the suspect alone.
std::string confirmation_page(const Confirmation& confirmation, const Exhibits& exhibits,
                              const std::vector<Clip>& clips);
std::string comparison_page(const Comparison& comparison);
// A card to print, with room to write beside each run.
std::string plan_page(const Plan& plan);

}  // namespace gearhark
