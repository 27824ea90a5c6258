// What the readers of speed logs share.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gearhark/units/result.hpp"

namespace gearhark::logs {

std::string_view trimmed(std::string_view text);
// A whole decimal number, finite; nothing else round it but blanks.
std::optional<double> number(std::string_view text);
std::vector<std::string_view> lines_of(std::string_view text);
// "FILE:LINE: found "...", expected ...". What was found is cut after some 40 bytes, control characters shown
// as '?', what is no UTF-8 as U+FFFD.
Error at_line(std::string_view file, std::size_t line, std::string_view found, std::string_view expected);
std::string quoted(std::string_view found);

// The fastest that any road car goes, m/s; more is a mistake in the unit.
inline constexpr double kFastest = 150.0;

}  // namespace gearhark::logs
