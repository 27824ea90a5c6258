#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>

#include "gearhark/speed/logs.hpp"
#include "gearhark/units/text.hpp"
#include "log_text.hpp"

namespace gearhark {
namespace {

using namespace logs;

constexpr std::string_view kHeading =
    "a heading that names a time and a speed with their units, such as time_s,speed_kmh";

struct Unit {
  std::string_view word;
  double factor;  // to s or m/s
  SpeedUnit unit = SpeedUnit::mps;
};
constexpr std::array kTimes = {Unit{"s", 1.0}, Unit{"sec", 1.0}, Unit{"ms", 1e-3}, Unit{"min", 60.0}};
constexpr std::array kSpeeds = {Unit{"mps", 1.0, SpeedUnit::mps},
                                Unit{"m/s", 1.0, SpeedUnit::mps},
                                Unit{"kmh", 1.0 / 3.6, SpeedUnit::kmh},
                                Unit{"km/h", 1.0 / 3.6, SpeedUnit::kmh},
                                Unit{"kph", 1.0 / 3.6, SpeedUnit::kmh},
                                Unit{"mph", 0.44704, SpeedUnit::mph},
                                Unit{"kn", 1852.0 / 3600.0, SpeedUnit::knots},
                                Unit{"knots", 1852.0 / 3600.0, SpeedUnit::knots}};

struct Column {
  std::size_t index = 0;
  Unit unit;
};

// "speed (km/h)" -> "speed", "km/h"; "time_s" -> "time", "s"; quotation marks are dropped.
std::pair<std::string, std::string> name_and_unit(std::string_view cell) {
  std::array<std::string, 2> words;
  std::size_t at = 0;
  for (const char c : trimmed(cell)) {
    if (c == '"') continue;
    if (std::string_view(" _([").find(c) != std::string_view::npos) {
      if (!words[0].empty()) at = 1;
    } else if (c != ')' && c != ']') {
      words[at] += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
    }
  }
  return {words[0], words[1]};
}

template <std::size_t N>
std::optional<Column> column(const std::vector<std::string_view>& cells,
                             std::array<std::string_view, 2> names, const std::array<Unit, N>& units) {
  for (std::size_t i = 0; i < cells.size(); ++i) {
    const auto [name, unit] = name_and_unit(cells[i]);
    if (name != names[0] && name != names[1]) continue;
    for (const Unit& known : units)
      if (known.word == unit) return Column{i, known};
  }
  return {};
}

char separator_of(std::string_view heading) {
  for (const char c : {';', '\t'})
    if (heading.find(c) != std::string_view::npos) return c;
  return ',';
}

}  // namespace

Result<SpeedLog> read_csv_log(std::string_view text, std::string_view file) {
  if (text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);
  const auto lines = lines_of(text);
  const char separator = separator_of(lines[0]);
  const auto heading = split(lines[0], separator);
  const auto time = column(heading, {"time", "t"}, kTimes);
  const auto speed = column(heading, {"speed", "v"}, kSpeeds);
  if (!time || !speed) return at_line(file, 1, lines[0], kHeading);
  SpeedLog log;
  log.unit = speed->unit.unit;
  for (std::size_t i = 1; i < lines.size(); ++i) {
    if (trimmed(lines[i]).empty()) continue;
    const auto cells = split(lines[i], separator);
    if (cells.size() <= std::max(time->index, speed->index))
      return at_line(file, i + 1, lines[i], fmt::format("{} columns as in the heading", heading.size()));
    const auto t = number(cells[time->index]), v = number(cells[speed->index]);
    if (!t) return at_line(file, i + 1, cells[time->index], "a time as a plain number");
    if (!v || *v < 0.0 || *v * speed->unit.factor > kFastest)
      return at_line(
          file, i + 1, cells[speed->index],
          fmt::format("a speed from 0 to {:.0f} {}", kFastest / speed->unit.factor, speed->unit.word));
    const Seconds at(*t * time->unit.factor);
    if (!log.points.empty() && at <= log.points.back().time)
      return at_line(file, i + 1, cells[time->index], "a later time than in the line before");
    log.points.push_back({at, Speed(*v * speed->unit.factor)});
  }
  if (log.points.empty())
    return Error{fmt::format("{}: no speeds follow the heading; log at least one fix", file)};
  return log;
}

}  // namespace gearhark
