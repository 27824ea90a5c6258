// One line of JSON per case of a batch: {"format":"gearhark answer","version":1,"case":NAME} and either
// "diagnosis": as diagnosis_json() gives it, or "error": the sentence that says why there is none.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "gearhark/units/result.hpp"

namespace gearhark {

// With the line's end.
std::string answer_line(const std::string& name, const Result<std::string>& diagnosis_json);

// The case that a line answers; nothing: it is no such line.
std::optional<std::string> case_answered(std::string_view line);

}  // namespace gearhark
