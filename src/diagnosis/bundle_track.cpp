#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <limits>

#include "gearhark/diagnosis/bundle.hpp"
#include "gearhark/units/text.hpp"

namespace gearhark {
namespace {

constexpr double roughest = 3.0;   // m/s: a fix that is known no better says less than the needle
constexpr double fastest = 150.0;  // m/s
constexpr double latest_s = 86400.0;

// Of the columns; none where the heading has not got them.
constexpr std::size_t nowhere = std::numeric_limits<std::size_t>::max();
struct Columns {
  std::size_t time = nowhere, speed = nowhere, accuracy = nowhere;
};

std::string_view bare(std::string_view cell) {
  while (!cell.empty() && (cell.back() == '\r' || cell.back() == ' ')) cell.remove_suffix(1);
  while (!cell.empty() && cell.front() == ' ') cell.remove_prefix(1);
  return cell;
}

Columns columns_of(std::string_view heading) {
  const auto cells = split(heading, ',');
  const auto place = [&](std::string_view name) {
    const auto at = std::find_if(cells.begin(), cells.end(), [&](auto cell) { return bare(cell) == name; });
    return at == cells.end() ? nowhere : static_cast<std::size_t>(at - cells.begin());
  };
  return {place("time_s"), place("speed_m_s"), place("speed_accuracy_m_s")};
}

// Nothing for an empty cell; NaN for what is no number.
std::optional<double> value(const std::vector<std::string_view>& cells, std::size_t column) {
  if (column >= cells.size() || bare(cells[column]).empty()) return {};
  const std::string_view cell = bare(cells[column]);
  double out = 0.0;
  const auto [end, error] = std::from_chars(cell.data(), cell.data() + cell.size(), out);
  return error == std::errc() && end == cell.data() + cell.size() ? out : NAN;
}

}  // namespace

Result<SpeedLog> read_bundle_track(std::string_view csv, const std::string& place) {
  const auto lines = split(csv, '\n');
  const Columns columns = columns_of(lines[0]);
  if (columns.time == nowhere || columns.speed == nowhere)
    return Error{fmt::format(
        "{}:1: expected a heading with time_s and speed_m_s; send the bundle from the phone again", place)};
  SpeedLog log;
  log.unit = SpeedUnit::kmh;
  for (std::size_t i = 1; i < lines.size(); ++i) {
    if (bare(lines[i]).empty()) continue;
    const auto cells = split(lines[i], ',');
    const auto time = value(cells, columns.time), speed = value(cells, columns.speed),
               accuracy = value(cells, columns.accuracy);
    const bool sound =
        time && *time >= -latest_s && *time <= latest_s && (!speed || (*speed >= 0.0 && *speed <= fastest));
    if (!sound)
      return Error{fmt::format(
          "{}:{}: expected a time in seconds and a speed from 0 to {:.0f} m/s or none; send the bundle "
          "from the phone again",
          place, i + 1, fastest)};
    const bool later = log.points.empty() || *time > log.points.back().time.value();
    // What is no number is rough too.
    if (!speed || !later || (accuracy && !(*accuracy <= roughest)))
      ++log.without_fix;
    else
      log.points.push_back({Seconds(*time), Speed(*speed)});
  }
  return log;
}

}  // namespace gearhark
