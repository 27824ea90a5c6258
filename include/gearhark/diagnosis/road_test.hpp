// The road-test file (TOML): names the car and lists the runs.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "gearhark/car/car.hpp"
#include "gearhark/speed/tracking.hpp"

namespace gearhark {

struct RoadTest {
  std::string car_file;  // relative to the road-test file
  std::string notes;
  std::vector<Run> runs;
};

// Relative paths in the result are already joined to the road-test file's folder. Speed files are read here.
Result<RoadTest> load_road_test(const std::string& path);

}  // namespace gearhark
