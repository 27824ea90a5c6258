// An inspection for people and for machines.
#pragma once

#include <string>

#include "gearhark/repair/inspect.hpp"

namespace gearhark {

// Lengths in the unit the readings were written in.
std::string inspection_text(const Inspection& inspection);
// Lengths in mm. schema/inspection.json is its schema.
std::string inspection_json(const Inspection& inspection);

}  // namespace gearhark
