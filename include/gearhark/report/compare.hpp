// A comparison for people and for machines.
#pragma once

#include <string>

#include "gearhark/repair/compare.hpp"

namespace gearhark {

std::string comparison_text(const Comparison& comparison);
// schema/comparison.json is its schema.
std::string comparison_json(const Comparison& comparison);

}  // namespace gearhark
