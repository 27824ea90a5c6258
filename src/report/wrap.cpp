#include "wrap.hpp"

#include <algorithm>
#include <array>
#include <cctype>

namespace gearhark::report {

namespace {

// A unit stays on the line of its number, and a tolerance with both.
bool goes_with_number(std::string_view word) {
  constexpr std::array units{"%",       "s",    "ms",  "dB", "Hz", "kHz",  "rpm",
                             "turns/s", "km/h", "mph", "mm", "in", "thou", "m/s"};
  while (!word.empty() && std::string_view(",;:.)").find(word.back()) != std::string_view::npos)
    word.remove_suffix(1);
  return word == "+-" || std::find(units.begin(), units.end(), word) != units.end();
}

bool ends_in_digit(std::string_view word) {
  return !word.empty() && std::isdigit(static_cast<unsigned char>(word.back()));
}

// The next word, with what must not stand on another line than it.
std::string_view taken_from(std::string_view& text) {
  std::size_t end = std::min(text.find(' '), text.size());
  const auto word_at = [&](std::size_t from) { return text.substr(from, text.find(' ', from) - from); };
  for (std::size_t last = 0; end < text.size();) {
    const std::string_view word = text.substr(last, end - last), next = word_at(end + 1);
    if (!(ends_in_digit(word) && goes_with_number(next)) && word != "+-") break;
    last = end + 1;
    end = last + next.size();
  }
  const std::string_view taken = text.substr(0, end);
  text.remove_prefix(std::min(text.size(), end + 1));
  return taken;
}

}  // namespace

std::string wrapped(std::string_view first, std::string_view text) {
  std::string out, line(first);
  const std::string indent(first.size(), ' ');
  bool empty = true;
  while (!text.empty()) {
    const std::string_view word = taken_from(text);
    if (word.empty()) continue;
    if (!empty && line.size() + 1 + word.size() > columns) {
      out += line + "\n";
      line = indent;
      empty = true;
    }
    if (!empty) line += ' ';
    line += word;
    empty = false;
  }
  return out + line + "\n";
}

std::string upper(std::string text) {
  for (char& c : text) c = static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
  return text;
}

}  // namespace gearhark::report
