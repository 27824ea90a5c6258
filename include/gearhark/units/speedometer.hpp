// What a speedometer may lawfully show: UN Regulation No. 39, paragraph 5.3: the reading is never below the
// true speed, and 0 <= reading - true <= true / 10 + 4 km/h. Cars older than the rule, or on other tyres, can
// lie outside it.
#pragma once

#include "gearhark/units/quantity.hpp"

namespace gearhark {

struct SpeedRange {
  Speed low, high;
};

// Readings that are lawful at this true speed.
constexpr SpeedRange lawful_readings(Speed true_speed) {
  return {true_speed, Speed(true_speed.value() * 1.1 + 4.0 / 3.6)};
}

// True speeds at which this reading is lawful (never below standstill).
constexpr SpeedRange true_speeds(Speed reading) {
  const double lowest = (reading.value() - 4.0 / 3.6) / 1.1;
  return {Speed(lowest > 0.0 ? lowest : 0.0), reading};
}

}  // namespace gearhark
