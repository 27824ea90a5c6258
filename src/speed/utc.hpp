// Calendar time.
#pragma once

#include <chrono>
#include <optional>

namespace gearhark::logs {

// Seconds since 1970, leap seconds not counted; nothing for a date or time of day that does not exist.
inline std::optional<double> utc_seconds(int year, unsigned month, unsigned day, double seconds_of_day) {
  const std::chrono::year_month_day date{std::chrono::year(year), std::chrono::month(month),
                                         std::chrono::day(day)};
  if (!date.ok() || seconds_of_day < 0.0 || seconds_of_day >= 86401.0) return {};
  return static_cast<double>(std::chrono::sys_days(date).time_since_epoch().count()) * 86400.0 +
         seconds_of_day;
}

}  // namespace gearhark::logs
