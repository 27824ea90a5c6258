#include "html.hpp"

#include <cstdint>

namespace gearhark::report {
namespace {

constexpr std::string_view replacement = "\xEF\xBF\xBD";

// Bytes of the UTF-8 character that begins here; 0: none does.
std::size_t utf8_length(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned char first = byte(0);
  const std::size_t length = first < 0x80                    ? 1
                             : first >= 0xC2 && first < 0xE0 ? 2
                             : first >= 0xE0 && first < 0xF0 ? 3
                             : first >= 0xF0 && first < 0xF5 ? 4
                                                             : 0;
  if (length == 0 || length > text.size()) return 0;
  std::uint32_t value = length == 1 ? first : first & (0xFFu >> (length + 1));
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte(i) & 0xC0) != 0x80) return 0;
    value = value << 6 | (byte(i) & 0x3Fu);
  }
  const bool too_long = (length == 3 && value < 0x800) || (length == 4 && value < 0x10000);
  const bool no_character =
      value > 0x10FFFF || (value >= 0xD800 && value < 0xE000) || value == 0xFFFE || value == 0xFFFF;
  return too_long || no_character ? 0 : length;
}

std::string_view escaped_byte(char c) {
  switch (c) {
    case '&':
      return "&amp;";
    case '<':
      return "&lt;";
    case '>':
      return "&gt;";
    case '"':
      return "&quot;";
    case '\'':
      return "&#39;";
    case '\n':
    case '\t':
      return {};
    default:
      return (static_cast<unsigned char>(c) < 0x20 || c == 0x7F) ? replacement : std::string_view{};
  }
}

std::string cell(const char* tag, const std::string& attributes, const std::string& markup) {
  return fmt::format("<{0}{1}>{2}</{0}>", tag, attributes, markup);
}

}  // namespace

std::string escaped(std::string_view text) {
  std::string out;
  while (!text.empty()) {
    const std::size_t length = utf8_length(text);
    const std::string_view instead = length == 0   ? replacement
                                     : length == 1 ? escaped_byte(text[0])
                                                   : std::string_view{};
    out += instead.empty() ? text.substr(0, length) : instead;
    text.remove_prefix(length == 0 ? 1 : length);
  }
  return out;
}

std::string plus_minus(std::string text) {
  for (auto at = text.find("+-"); at != std::string::npos; at = text.find("+-", at))
    text.replace(at, 2, "\xC2\xB1");
  return text;
}

std::string decimal(double value, int digits) {
  std::string out = fmt::format("{:.{}f}", value, digits);
  if (out.starts_with('-') && out.find_first_not_of("-0.") == std::string::npos) out.erase(0, 1);
  return out;
}

std::string json_in_script(std::string_view json) {
  std::string out;
  for (const char c : json)
    if (c == '<')
      out += "\\u003c";
    else
      out += c;
  return out;
}

std::string base64(std::string_view bytes) {
  constexpr std::string_view digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  out.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const auto byte = [&](std::size_t k) {
      return i + k < bytes.size() ? static_cast<std::uint32_t>(static_cast<unsigned char>(bytes[i + k])) : 0u;
    };
    const std::uint32_t three = byte(0) << 16 | byte(1) << 8 | byte(2);
    for (std::size_t k = 0; k < 4; ++k)
      out += i + k <= bytes.size() ? digits[three >> (18 - 6 * k) & 63] : '=';
  }
  return out;
}

std::string list(const std::vector<std::string>& sentences) {
  if (sentences.empty()) return "";
  std::string out = "<ul>\n";
  for (const auto& sentence : sentences) out += "<li>" + escaped(sentence) + "</li>\n";
  return out + "</ul>\n";
}

std::string to_html(const Table& table) {
  const auto of_number = [&](std::size_t c) { return c < table.numbers.size() && table.numbers[c]; };
  // The caption stands outside what scrolls, or a phone would cut it.
  std::string out = fmt::format(
      "<p class=\"caption\">{0}</p>\n<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"table, "
      "scrolls sideways\"><table class=\"{1}\" aria-label=\"{0}\">\n<thead><tr>",
      escaped(table.caption), table.kind);
  for (std::size_t c = 0; c < table.head.size(); ++c)
    out += cell("th", std::string(" scope=\"col\"") + (of_number(c) ? " class=\"n\"" : ""), table.head[c]);
  out += "</tr></thead>\n<tbody>\n";
  for (std::size_t r = 0; r < table.rows.size(); ++r) {
    out += r < table.row_attributes.size() ? "<tr " + table.row_attributes[r] + ">" : "<tr>";
    for (std::size_t c = 0; c < table.rows[r].size(); ++c)
      out += cell(c == 0 ? "th" : "td",
                  std::string(c == 0 ? " scope=\"row\"" : "") + (of_number(c) ? " class=\"n\"" : ""),
                  table.rows[r][c]);
    out += "</tr>\n";
  }
  return out + "</tbody></table></div>\n";
}

}  // namespace gearhark::report
