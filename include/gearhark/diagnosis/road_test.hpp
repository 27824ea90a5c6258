// The road-test file (TOML): names the car and lists the runs.
//
//   car = "../models/heron_rear_transaxle.toml"   # beside the road-test file
//   notes = "..."
//
//   [[recording]]                # one per run
//   file = "third.m4a"
//   gear = 3                     # or "R", "N", "4 overdrive"
//   load = "drive"               # drive, float, coast, neutral (the last by itself in gear "N")
//   turn = "straight"            # straight (when left out), left, right
//   clutch = "engaged"           # engaged (when left out), "pedal down"
//   speed = "45 mph"             # constant; "30 mph to 60 mph" from start to end of the run;
//                                # "0:00 30 mph, 0:20 50 mph" at times of the recording, straight lines
//                                between
//   speed_source = "needle"      # needle (when left out), satellite: what showed the speed
//   speed_file = "track.gpx"     # instead of speed: a satellite log (GPX, NMEA, CSV)
//   recording_starts = "1:35"    # how far into the speed file; left out: found from the sound where the log
//                                # has clock times, else both start together
//   speed_between = "30 mph and 60 mph"  # instead of speed: nothing better is known
//   engine_speed = "2500 rpm"    # instead of speed: what the rev counter showed
//   shaft_rate = "1797 rpm"      # instead of speed: a bench spin, turns of the driven wheels' shafts
//   from = "0:05"                # the part of the recording to use
//   to = "0:25"
#pragma once

#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gearhark/car/car.hpp"
#include "gearhark/speed/tracking.hpp"

namespace gearhark {

struct RoadTest {
  Car car;
  std::string car_file;
  std::string notes;
  std::vector<Run> runs;              // at least one
  std::vector<std::string> left_out;  // of a bundle: what of it is not used and why, a sentence each
};

// Relative paths in the file count from its folder and are joined to it in the result. Reads the car file and
// the speed files too. A road-test bundle (bundle.hpp) does as well, if it holds its car. Errors: one
// sentence "FILE:LINE:COLUMN: found, expected, cure".
Result<RoadTest> load_road_test(const std::string& path);
// The same of text that would stand in `file`.
Result<RoadTest> read_road_test(std::string_view toml_text, const std::string& file);

// The time of the last point of a sweep until run_sound() knows how long the run is.
inline constexpr Seconds end_of_run{std::numeric_limits<double>::infinity()};

// The words of `speed`. The end of a sweep has the time `end_of_run`. Errors: no unit; not above zero or
// beyond 500 km/h; times that do not rise.
Result<StatedSpeed> parse_stated_speed(std::string_view text);
Result<StatedSpeed> stated_shaft_rate(std::string_view text);
// "30 mph and 60 mph"
Result<StatedSpeed> parse_speed_between(std::string_view text);
// "2500 rpm"
Result<StatedSpeed> stated_engine_speed(std::string_view text);

// Why this car can't be in that state: a gear that it lacks, "drive" in neutral, "neutral" in gear. A
// sentence without file and place.
std::optional<std::string> impossible(const Car& car, const Run& run);

}  // namespace gearhark
