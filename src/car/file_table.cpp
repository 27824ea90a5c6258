#include "file_table.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <charconv>
#include <cmath>

#include "gearhark/units/text.hpp"

namespace gearhark::car_file {
namespace {

std::string found(const toml::node& node) {
  if (const auto* s = node.as_string()) return fmt::format("\"{}\"", s->get());
  if (const auto* i = node.as_integer()) return fmt::format("{}", i->get());
  if (const auto* d = node.as_floating_point()) return fmt::format("{}", d->get());
  if (const auto* b = node.as_boolean()) return b->get() ? "true" : "false";
  if (node.is_array()) return "a list";
  return node.is_table() ? "a table" : "a date or time";
}

// Digits after the point of "4.110".
int decimals(std::string_view text) {
  const auto point = text.find('.');
  return point == std::string_view::npos ? 0 : static_cast<int>(text.size() - point - 1);
}

std::optional<double> plain_number(std::string_view text) {
  double value = 0.0;
  const auto [end, error] =
      std::from_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed);
  if (error != std::errc{} || end != text.data() + text.size() || !std::isfinite(value)) return std::nullopt;
  return value;
}

}  // namespace

std::string placed(std::string_view file, toml::source_position at, const std::string& sentence) {
  return fmt::format("{}:{}:{}: {}", file, std::max<toml::source_index>(at.line, 1),
                     std::max<toml::source_index>(at.column, 1), sentence);
}

std::string nearest(std::string_view word, const std::vector<std::string_view>& words) {
  std::string_view best;
  std::size_t least = std::max<std::size_t>(2, word.size() / 3) + 1;
  for (const auto candidate : words)
    if (const std::size_t d = edit_distance(word, candidate); d < least) {
      least = d;
      best = candidate;
    }
  return std::string(best);
}

std::string listed(const std::vector<std::string_view>& words) {
  return fmt::format("{}", fmt::join(words, ", "));
}

Table::Table(const toml::table& table, std::string_view file, std::string what,
             std::vector<std::string_view> keys)
    : table_(&table), file_(file), what_(std::move(what)) {
  for (const auto& [key, node] : table) {
    if (std::find(keys.begin(), keys.end(), key.str()) != keys.end()) continue;
    const std::string near = nearest(key.str(), keys);
    fail(key.source().begin,
         fmt::format("{} has no \"{}\"; {}", what_, key.str(),
                     near.empty() ? "it takes " + listed(keys) : fmt::format("did you mean \"{}\"?", near)));
  }
}

toml::source_position Table::place(std::string_view key) const {
  const auto* node = table_->get(key);
  return node ? node->source().begin : place();
}

void Table::fail(toml::source_position at, const std::string& sentence) const {
  throw Mistake{{placed(file_, at, sentence)}};
}

void Table::wrong_type(std::string_view key, std::string_view expected) const {
  fail(key, fmt::format("\"{}\" of {} is {}; expected {}", key, what_, found(*table_->get(key)), expected));
}

void Table::missing(std::string_view key) const {
  fail(place(), fmt::format("{} has no \"{}\"; add it", what_, key));
}

std::optional<std::string> Table::text(std::string_view key, std::string_view expected) const {
  const auto* node = table_->get(key);
  if (!node) return std::nullopt;
  if (const auto* s = node->as_string()) return s->get();
  wrong_type(key, expected);
}

std::string Table::need_text(std::string_view key) const {
  const auto value = text(key);
  if (!value) missing(key);
  if (value->empty()) wrong_type(key, "text in quotation marks that is not empty");
  return *value;
}

std::size_t Table::word(std::string_view key, const std::vector<std::string_view>& words,
                        std::size_t otherwise) const {
  const auto value = text(key);
  if (!value) return otherwise;
  const auto at = std::find(words.begin(), words.end(), *value);
  if (at != words.end()) return static_cast<std::size_t>(at - words.begin());
  const std::string near = nearest(*value, words);
  fail(key, fmt::format("\"{}\" of {} is \"{}\"; expected one of: {}{}", key, what_, *value, listed(words),
                        near.empty() ? "" : fmt::format(" (did you mean \"{}\"?)", near)));
}

std::optional<int> Table::whole(std::string_view key, int low, int high) const {
  const auto* node = table_->get(key);
  if (!node) return std::nullopt;
  const auto* value = node->as_integer();
  if (!value || value->get() < low || value->get() > high)
    wrong_type(key, fmt::format("a whole number from {} to {}", low, high));
  return static_cast<int>(value->get());
}

int Table::need_whole(std::string_view key, int low, int high) const {
  const auto value = whole(key, low, high);
  if (!value) missing(key);
  return *value;
}

std::optional<double> Table::number(std::string_view key, double low, double high) const {
  const auto* node = table_->get(key);
  if (!node) return std::nullopt;
  const auto value = node->is_number() ? node->value<double>() : std::nullopt;
  if (!value || !(*value >= low && *value <= high))
    wrong_type(key, fmt::format("a number from {} to {}", low, high));
  return value;
}

bool Table::yes(std::string_view key) const {
  const auto* node = table_->get(key);
  if (!node) return false;
  const auto* value = node->as_boolean();
  if (!value) wrong_type(key, "true or false");
  return value->get();
}

std::optional<WrittenLength> Table::length(std::string_view key) const {
  const auto* node = table_->get(key);
  if (!node) return std::nullopt;
  if (node->is_number())
    wrong_type(key, "a length with its unit in quotation marks, such as \"7.94 mm\" or \"0.3126 in\"");
  const auto written = text(key);
  const auto parsed = parse_length(*written);
  if (!parsed) fail(key, fmt::format("\"{}\" of {}: {}", key, what_, parsed.error().sentence));
  if (parsed->value.value() < 0.0) wrong_type(key, "a length that is not negative");
  return *parsed;
}

std::optional<double> Table::share(std::string_view key) const {
  const auto* node = table_->get(key);
  if (!node) return std::nullopt;
  std::string written = node->is_string() ? *text(key) : "";
  const bool percent = written.ends_with('%');
  if (percent) written.pop_back();
  while (!written.empty() && written.back() == ' ') written.pop_back();
  const auto value = plain_number(written);
  if (!percent || !value || *value < 0.0 || *value > 50.0)
    wrong_type(key, "a share in per cent in quotation marks from 0 to 50, such as \"2 %\"");
  return *value / 100.0;
}

std::optional<Table::StatedRatio> Table::ratio(std::string_view key) const {
  const auto* node = table_->get(key);
  if (!node) return std::nullopt;
  const auto as_number = node->is_number() ? node->value<double>() : std::nullopt;
  const std::string written = node->is_string() ? *text(key) : as_number ? fmt::format("{}", *as_number) : "";
  const auto value = plain_number(written);
  if (!value || *value < 0.05 || *value > 100.0)
    wrong_type(key, "a ratio from 0.05 to 100, such as \"4.11\"");
  return StatedRatio{*value, 0.5 * std::pow(10.0, -decimals(written)) / *value};
}

std::optional<std::string> Table::gear(std::string_view key) const {
  const auto* node = table_->get(key);
  if (!node) return std::nullopt;
  if (const auto* i = node->as_integer()) return std::to_string(i->get());
  if (!node->is_string() || text(key)->empty()) wrong_type(key, "a gear such as 3 or \"R\"");
  return text(key);
}

std::vector<std::string> Table::gears(std::string_view key) const {
  std::vector<std::string> out;
  const auto* node = table_->get(key);
  if (!node) return out;
  const auto* list = node->as_array();
  if (!list) wrong_type(key, "a list of gears such as [1, 2, \"R\"]");
  for (const auto& entry : *list) {
    if (const auto* i = entry.as_integer())
      out.push_back(std::to_string(i->get()));
    else if (const auto* s = entry.as_string(); s && !s->get().empty())
      out.push_back(s->get());
    else
      wrong_type(key, "a list of gears such as [1, 2, \"R\"]");
  }
  return out;
}

std::vector<std::string> Table::texts(std::string_view key) const {
  std::vector<std::string> out;
  const auto* node = table_->get(key);
  if (!node) return out;
  const auto* list = node->as_array();
  if (!list) wrong_type(key, "a list of texts in quotation marks");
  for (const auto& entry : *list) {
    const auto* s = entry.as_string();
    if (!s) wrong_type(key, "a list of texts in quotation marks");
    out.push_back(s->get());
  }
  return out;
}

std::optional<Table> Table::table(std::string_view key, std::string what,
                                  std::vector<std::string_view> keys) const {
  const auto* node = table_->get(key);
  if (!node) return std::nullopt;
  if (const auto* t = node->as_table()) return Table(*t, file_, std::move(what), std::move(keys));
  wrong_type(key, fmt::format("a table, [{}]", key));
}

std::vector<Table> Table::tables(std::string_view key, const std::string& what,
                                 const std::vector<std::string_view>& keys) const {
  std::vector<Table> out;
  const auto* node = table_->get(key);
  if (!node) return out;
  if (const auto* t = node->as_table()) return {Table(*t, file_, what, keys)};
  const auto* list = node->as_array();
  if (!list) wrong_type(key, fmt::format("one or more tables, [[{}]]", key));
  for (const auto& entry : *list) {
    const auto* t = entry.as_table();
    if (!t) wrong_type(key, fmt::format("one or more tables, [[{}]]", key));
    out.emplace_back(*t, file_, what, keys);
  }
  return out;
}

}  // namespace gearhark::car_file
