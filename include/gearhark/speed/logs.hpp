// Speed logs: CSV, GPX 1.1 and NMEA 0183, told apart by their contents.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gearhark/speed/tracking.hpp"
#include "gearhark/units/quantity.hpp"
#include "gearhark/units/result.hpp"

namespace gearhark {

// Fixes in rising order of time.
struct SpeedLog {
  std::vector<SpeedPoint> points;   // time from the log's own zero (CSV) or from its first fix (GPX, NMEA)
  std::optional<double> first_utc;  // seconds since 1970 of the first fix, where the log says
  SpeedUnit unit = SpeedUnit::kmh;  // CSV: as in the heading
  int bad_checksums = 0;            // NMEA sentences left out
  int without_fix = 0;              // sentences or points left out because they hold no position or speed
  bool from_positions = false;      // no speeds were logged; they are distance over time
};

// The heading names the columns with their units: "time_s,speed_mps", "time (s); speed (km/h)", "t [s]\tv
// [mph]". Speeds: m/s (mps), km/h (kmh, kph), mph, kn (knots); times: s, ms, min. Other columns are passed
// over.
Result<SpeedLog> read_csv_log(std::string_view text, std::string_view file);

// Track points with times; the speed of their extensions (m/s) where every point has one, else great-circle
// distance over time between neighbours (haversine, mean earth radius 6371008.8 m).
Result<SpeedLog> read_gpx_log(std::string_view text, std::string_view file);

// RMC (any talker) with status A; VTG, which has no time, fills in where the RMC before it has no speed. A
// wrong checksum rejects the sentence and is counted; a missing one is let pass. Knots: 1852 m an hour.
Result<SpeedLog> read_nmea_log(std::string_view text, std::string_view file);

// By contents: '<' first is GPX, '$' first NMEA, anything else CSV. Errors: "FILE:LINE: found, expected,
// cure".
Result<SpeedLog> read_speed_log(std::string_view text, std::string_view file);
Result<SpeedLog> load_speed_log(const std::string& path);

// As a stated speed. A log with clock times of its own has to be laid against the recording: with
// `recording_starts` (seconds of log time) by that, else tracking finds it from the sound.
StatedSpeed stated_by(const SpeedLog& log, std::optional<Seconds> recording_starts = {});

// Great-circle distance in metres between two places in degrees.
double haversine_m(double latitude1, double longitude1, double latitude2, double longitude2);

}  // namespace gearhark
