// Report pages: one HTML file each that opens by itself, offline, and asks for nothing. Renderings: every
// number in them stands in the values handed in.
#pragma once

#include <string>
#include <vector>

#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/diagnosis/exhibits.hpp"
#include "gearhark/repair/clips.hpp"

namespace gearhark {

std::string diagnosis_page(const Diagnosis& diagnosis, const Exhibits& exhibits,
                           const std::vector<Clip>& clips);

}  // namespace gearhark
