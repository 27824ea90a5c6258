// The model car that many tests drive.
#pragma once

#include <catch2/catch.hpp>
#include <string>

#include "gearhark/car/car.hpp"

namespace gearhark::test {

inline const std::string heron_file = std::string(GEARHARK_SOURCE_DIR) + "/models/heron_rear_transaxle.toml";

inline Car heron() {
  auto car = load_car(heron_file);
  REQUIRE(car);
  return *car;
}

}  // namespace gearhark::test
