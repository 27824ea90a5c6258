// Text for a page. What comes from a file or a person goes through escaped(); markup is written by hand.
#pragma once

#include <fmt/format.h>

#include <string>
#include <string_view>
#include <vector>

namespace gearhark::report {

// Safe as text and within a quoted attribute, for HTML and XML alike. Bytes that are no UTF-8, and control
// characters, become U+FFFD.
std::string escaped(std::string_view text);

// With the sign that plain text spells "+-".
std::string plus_minus(std::string text);

// A number with so many digits, and no "-0.0".
std::string decimal(double value, int digits);

// JSON that no "<" in it can end the script element it stands in.
std::string json_in_script(std::string_view json);

std::string base64(std::string_view bytes);

// <ul> of sentences, escaped; "" for none.
std::string list(const std::vector<std::string>& sentences);

// A table that a phone can scroll sideways. Cells are markup; the first column is the row's heading.
struct Table {
  std::string caption;  // text
  std::vector<std::string> head;
  std::vector<std::vector<std::string>> rows;
  std::string kind;                         // class
  std::vector<bool> numbers;                // per column: aligned right
  std::vector<std::string> row_attributes;  // per row; may be empty
};
std::string to_html(const Table& table);

}  // namespace gearhark::report
