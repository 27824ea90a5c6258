// A road test on a card to print, and for machines.
#pragma once

#include <string>

#include "gearhark/diagnosis/plan.hpp"

namespace gearhark {

// Cautions first, then how to record, then the runs with room to write beside each.
std::string plan_text(const Plan& plan);
// Speeds in m/s. schema/plan.json is its schema.
std::string plan_json(const Plan& plan);

}  // namespace gearhark
