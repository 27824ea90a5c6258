// A decision for people and for machines; and a diagnosis read back from its JSON.
#pragma once

#include <string>
#include <string_view>

#include "gearhark/repair/decide.hpp"

namespace gearhark {

// Cautions first.
std::string decision_text(const Decision& decision);
// schema/decision.json is its schema.
std::string decision_json(const Decision& decision);

// `file` placed no recording, so there is nothing to decide by.
Error nothing_known(std::string_view file);
// What `gearhark diagnose --json` wrote. Errors: one sentence that names the file.
Result<Chances> read_chances(std::string_view json, std::string_view file);

}  // namespace gearhark
