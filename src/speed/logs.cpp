#include "gearhark/speed/logs.hpp"

#include <fmt/format.h>

#include "gearhark/units/files.hpp"
#include "log_text.hpp"

namespace gearhark {

Result<SpeedLog> read_speed_log(std::string_view text, std::string_view file) {
  std::string_view start = text;
  if (start.starts_with("\xEF\xBB\xBF")) start.remove_prefix(3);
  start = logs::trimmed(start);
  if (start.empty()) return Error{fmt::format("{}: the speed log is empty; record it again", file)};
  if (start[0] == '<') return read_gpx_log(text, file);
  if (start[0] == '$') return read_nmea_log(text, file);
  return read_csv_log(text, file);
}

Result<SpeedLog> load_speed_log(const std::string& path) {
  const auto text = text_of_file(path, "the speed file");
  if (!text) return text.error();
  return read_speed_log(*text, path);
}

StatedSpeed stated_by(const SpeedLog& log, std::optional<Seconds> recording_starts) {
  StatedSpeed stated;
  stated.source = SpeedSource::satellite;
  stated.unit = log.unit;
  stated.points = log.points;
  for (SpeedPoint& point : stated.points)
    if (recording_starts) point.time -= *recording_starts;
  stated.own_clock = log.first_utc.has_value() && !recording_starts;
  return stated;
}

}  // namespace gearhark
