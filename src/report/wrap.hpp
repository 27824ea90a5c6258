// Plain text for a terminal.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace gearhark::report {

constexpr std::size_t columns = 96;

// Breaks at spaces; the first line begins with `first`, the others with as many spaces. Ends in a new line.
std::string wrapped(std::string_view first, std::string_view text);

// In capitals.
std::string upper(std::string text);

}  // namespace gearhark::report
