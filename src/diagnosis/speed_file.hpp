// The speed log that a road-test file names.
#pragma once

#include <optional>
#include <string>

#include "gearhark/speed/tracking.hpp"

namespace gearhark {

// CSV, GPX or NMEA, as load_speed_log() reads them. Errors: "FILE:LINE: found, expected".
// recording_starts: how far into the log.
Result<StatedSpeed> read_speed_file(const std::string& path, std::optional<Seconds> recording_starts);

}  // namespace gearhark
