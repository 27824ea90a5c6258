// What a swap changes, for people and for machines.
#pragma once

#include <string>

#include "gearhark/repair/swap.hpp"

namespace gearhark {

// Speeds in the unit each was asked in.
std::string swap_text(const Swap& swap);
// Speeds in m/s. schema/swap.json is its schema.
std::string swap_json(const Swap& swap);

}  // namespace gearhark
