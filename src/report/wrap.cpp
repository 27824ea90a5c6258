#include "wrap.hpp"

#include <algorithm>
#include <cctype>

namespace gearhark::report {

std::string wrapped(std::string_view first, std::string_view text) {
  std::string out, line(first);
  const std::string indent(first.size(), ' ');
  bool empty = true;
  while (!text.empty()) {
    const std::string_view word = text.substr(0, text.find(' '));
    text.remove_prefix(std::min(text.size(), word.size() + 1));
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
