// The speed log that a road-test file names.
#pragma once

#include <string>

#include "gearhark/speed/tracking.hpp"

namespace gearhark {

// CSV, GPX or NMEA, as load_speed_log() reads them. Errors: "FILE:LINE: found, expected".
Result<StatedSpeed> read_speed_file(const std::string& path);

}  // namespace gearhark
