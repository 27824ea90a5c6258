#include "log_text.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>

#include "gearhark/units/text.hpp"

namespace gearhark::logs {

std::string_view trimmed(std::string_view text) {
  constexpr std::string_view blanks = " \t\r\n\v\f";
  const auto from = text.find_first_not_of(blanks);
  if (from == std::string_view::npos) return {};
  return text.substr(from, text.find_last_not_of(blanks) - from + 1);
}

std::optional<double> number(std::string_view text) {
  const std::string_view bare = trimmed(text);
  double value = 0.0;
  const auto [end, error] = std::from_chars(bare.data(), bare.data() + bare.size(), value);
  if (error != std::errc() || end != bare.data() + bare.size() || !std::isfinite(value)) return {};
  return value;
}

std::vector<std::string_view> lines_of(std::string_view text) { return split(text, '\n'); }

std::string quoted(std::string_view found) {
  const std::string_view all = trimmed(found);
  std::size_t end = std::min<std::size_t>(all.size(), 40);
  const auto within_a_character = [&](std::size_t at) {
    return (static_cast<unsigned char>(all[at]) & 0xc0) == 0x80;
  };
  for (int back = 0; back < 3 && end > 0 && end < all.size() && within_a_character(end); ++back) --end;
  std::string shown = valid_utf8(all.substr(0, end));
  std::replace_if(
      shown.begin(), shown.end(), [](unsigned char c) { return c < 32 || c == 127; }, '?');
  return fmt::format("\"{}{}\"", shown, end < all.size() ? "..." : "");
}

Error at_line(std::string_view file, std::size_t line, std::string_view found, std::string_view expected) {
  return Error{fmt::format("{}:{}: found {}, expected {}", file, line, quoted(found), expected)};
}

}  // namespace gearhark::logs
