// A confirmation for people and for machines. Renderings: every number in them stands in the Confirmation.
#pragma once

#include <string>

#include "gearhark/diagnosis/confirm.hpp"

namespace gearhark {

// Lines of at most 96 columns, the verdict first.
std::string confirmation_text(const Confirmation& confirmation);
// schema/confirmation.json is its schema.
std::string confirmation_json(const Confirmation& confirmation);

}  // namespace gearhark
