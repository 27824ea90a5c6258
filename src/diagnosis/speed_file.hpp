// The speed log that a road-test file names.
#pragma once

#include <string>

#include "gearhark/speed/tracking.hpp"

namespace gearhark {

// CSV with the header time_s,speed_mps. Errors: "FILE:LINE: found, expected".
Result<StatedSpeed> read_speed_file(const std::string& path);

}  // namespace gearhark
