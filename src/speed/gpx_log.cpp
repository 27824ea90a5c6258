#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <pugixml.hpp>

#include "gearhark/speed/logs.hpp"
#include "log_text.hpp"
#include "utc.hpp"

namespace gearhark {
namespace {

using namespace logs;

std::string_view local_name(const pugi::xml_node& node) {
  const std::string_view name = node.name();
  const auto colon = name.rfind(':');
  return colon == std::string_view::npos ? name : name.substr(colon + 1);
}

std::size_t line_of(std::string_view text, std::ptrdiff_t offset) {
  const auto end =
      text.begin() + std::clamp<std::ptrdiff_t>(offset, 0, static_cast<std::ptrdiff_t>(text.size()));
  return 1 + static_cast<std::size_t>(std::count(text.begin(), end, '\n'));
}

std::optional<int> digits(std::string_view text, std::size_t from, std::size_t count) {
  int value = 0;
  for (std::size_t i = from; i < from + count; ++i) {
    if (i >= text.size() || text[i] < '0' || text[i] > '9') return {};
    value = 10 * value + (text[i] - '0');
  }
  return value;
}

// xs:dateTime: 2026-05-03T14:05:06.5Z, +01:00 instead of Z; without either it is taken as UTC.
std::optional<double> iso_time(std::string_view text) {
  text = trimmed(text);
  const auto year = digits(text, 0, 4), month = digits(text, 5, 2), day = digits(text, 8, 2),
             hour = digits(text, 11, 2), minute = digits(text, 14, 2);
  if (!year || !month || !day || !hour || !minute || *hour > 24 || *minute > 59) return {};
  if (text[4] != '-' || text[7] != '-' || text[10] != 'T' || text[13] != ':' || text.size() < 19 ||
      text[16] != ':')
    return {};
  const auto zone_at = text.find_first_of("Z+-", 17);
  const auto seconds = number(text.substr(17, zone_at == std::string_view::npos ? zone_at : zone_at - 17));
  if (!seconds || *seconds < 0.0 || *seconds >= 61.0) return {};
  double zone = 0.0;
  if (zone_at != std::string_view::npos && text[zone_at] != 'Z') {
    const auto zone_hour = digits(text, zone_at + 1, 2), zone_minute = digits(text, zone_at + 4, 2);
    if (!zone_hour || !zone_minute) return {};
    zone = (text[zone_at] == '-' ? -60.0 : 60.0) * (60 * *zone_hour + *zone_minute);
  }
  const auto utc = utc_seconds(*year, static_cast<unsigned>(*month), static_cast<unsigned>(*day),
                               3600.0 * *hour + 60.0 * *minute + *seconds);
  if (!utc) return {};
  return *utc - zone;
}

// <speed> of the extensions, whatever its namespace, or of GPX 1.0; m/s.
std::optional<double> logged_speed(const pugi::xml_node& point) {
  const auto found = point.find_node([](const pugi::xml_node& n) { return local_name(n) == "speed"; });
  if (!found) return {};
  const auto v = number(found.text().get());
  return v && *v >= 0.0 && *v <= kFastest ? v : std::nullopt;
}

struct Fix {
  double utc = 0.0, latitude = 0.0, longitude = 0.0;
  std::optional<double> speed;
};

Result<Fix> fix_of(const pugi::xml_node& point, std::string_view text, std::string_view file) {
  const std::size_t line = line_of(text, point.offset_debug());
  const auto latitude = number(point.attribute("lat").value()),
             longitude = number(point.attribute("lon").value());
  if (!latitude || std::abs(*latitude) > 90.0)
    return at_line(file, line, point.attribute("lat").value(), "lat=\"...\" from -90 to 90 degrees");
  if (!longitude || std::abs(*longitude) > 180.0)
    return at_line(file, line, point.attribute("lon").value(), "lon=\"...\" from -180 to 180 degrees");
  std::string_view time;
  for (const auto& child : point.children())
    if (local_name(child) == "time") time = child.text().get();
  const auto utc = iso_time(time);
  if (!utc) return at_line(file, line, time, "a <time> such as 2026-05-03T14:05:06Z in every track point");
  return Fix{*utc, *latitude, *longitude, logged_speed(point)};
}

std::vector<SpeedPoint> speeds(const std::vector<Fix>& fixes, bool logged) {
  std::vector<SpeedPoint> points;
  const double zero = fixes.front().utc;
  for (std::size_t i = 0; i < fixes.size(); ++i) {
    if (logged) {
      points.push_back({Seconds(fixes[i].utc - zero), Speed(*fixes[i].speed)});
    } else if (i > 0) {
      const Fix &a = fixes[i - 1], &b = fixes[i];
      const double v = haversine_m(a.latitude, a.longitude, b.latitude, b.longitude) / (b.utc - a.utc);
      points.push_back({Seconds(0.5 * (a.utc + b.utc) - zero), Speed(std::min(v, kFastest))});
    }
  }
  return points;
}

}  // namespace

double haversine_m(double latitude1, double longitude1, double latitude2, double longitude2) {
  constexpr double radius = 6371008.8, degree = std::numbers::pi / 180.0;
  const double a = std::sin(0.5 * (latitude2 - latitude1) * degree);
  const double b = std::sin(0.5 * (longitude2 - longitude1) * degree);
  const double h = a * a + std::cos(latitude1 * degree) * std::cos(latitude2 * degree) * b * b;
  return 2.0 * radius * std::asin(std::sqrt(std::min(1.0, h)));
}

Result<SpeedLog> read_gpx_log(std::string_view text, std::string_view file) {
  pugi::xml_document document;
  const auto parsed = document.load_buffer(text.data(), text.size());
  if (!parsed)
    return Error{fmt::format("{}:{}: this is not well-formed XML ({}); export the track again", file,
                             line_of(text, parsed.offset), parsed.description())};
  struct Points : pugi::xml_tree_walker {
    std::vector<pugi::xml_node> found;
    bool for_each(pugi::xml_node& node) override {
      if (local_name(node) == "trkpt") found.push_back(node);
      return true;
    }
  } points;
  document.traverse(points);
  SpeedLog log;
  std::vector<Fix> fixes;
  for (const auto& point : points.found) {
    const auto fix = fix_of(point, text, file);
    if (!fix) return fix.error();
    if (!fixes.empty() && fix->utc <= fixes.back().utc) {
      ++log.without_fix;  // some loggers repeat a point
      continue;
    }
    fixes.push_back(*fix);
  }
  if (fixes.size() < 2)
    return Error{
        fmt::format("{}: found {} track points (<trkpt>) with rising times, expected two or more; export "
                    "the recorded track, not a route",
                    file, fixes.size())};
  const bool logged =
      std::all_of(fixes.begin(), fixes.end(), [](const Fix& f) { return f.speed.has_value(); });
  log.from_positions = !logged;
  log.first_utc = fixes.front().utc;
  log.points = speeds(fixes, logged);
  return log;
}

}  // namespace gearhark
