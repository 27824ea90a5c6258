// A diagnosis for people and for machines. Renderings: every number in them stands in the Diagnosis.
#pragma once

#include <string>

#include "gearhark/diagnosis/diagnosis.hpp"

namespace gearhark {

// Lines of at most 96 columns, the verdict first.
std::string diagnosis_text(const Diagnosis& diagnosis);
// schema/diagnosis.json is its schema.
std::string diagnosis_json(const Diagnosis& diagnosis);

}  // namespace gearhark
