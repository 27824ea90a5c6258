// Small cars to test with. Invented.
#pragma once

#include <catch2/catch.hpp>
#include <string>

#include "gearhark/car/car.hpp"
#include "gearhark/car/driveline.hpp"
#include "gearhark/car/lines.hpp"

namespace gearhark::testing {

inline const std::string head = R"(name = "Test"
driven = "rear"
[engine]
cylinders = 4
[tyre]
roll_out = "2 m"
)";

// Two-shaft: gears 1 (12/42) and 2 (30/30), final drive 8/42.
inline const std::string transaxle = head + R"([gearbox]
kind = "two-shaft"
[[gearbox.gear]]
gear = 1
driving = 12
driven = 42
[[gearbox.gear]]
gear = 2
driving = 30
driven = 31
loose = "driving"
[final_drive]
pinion = 8
ring = 42
)";

// Three-shaft: input pair 16/23, gear 1 14/34, reverse through an idler, direct 2; final drive 9/43.
inline const std::string three_shaft = head + R"([gearbox]
kind = "three-shaft"
direct = 2
input = { driving = 16, driven = 23 }
[[gearbox.gear]]
gear = 1
driving = 14
driven = 34
[[gearbox.gear]]
gear = "R"
driving = 14
idler = 17
driven = 33
sliding = true
[final_drive]
pinion = 9
ring = 43
)";

// The text with one piece replaced by another.
inline std::string with(std::string text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

inline Car car_from(const std::string& text) {
  auto car = read_car(text, "car.toml");
  INFO((car ? std::string() : car.error().sentence));
  REQUIRE(car);
  return *car;
}

inline ShaftRates rates_of(const Car& car, const std::string& gear, Clutch clutch = Clutch::engaged) {
  const auto rates = shaft_rates(car, {{gear}, clutch});
  INFO((rates ? std::string() : rates.error().sentence));
  REQUIRE(rates);
  return *rates;
}

inline const Line* find_line(const std::vector<Line>& lines, const std::string& part, LineKind kind,
                             int harmonic = 1) {
  for (const auto& line : lines)
    if (line.part == part && line.kind == kind && line.harmonic == harmonic) return &line;
  return nullptr;
}

inline const Family* find_family(const std::vector<Family>& families, const std::string& part, Fault fault) {
  for (const auto& family : families)
    if (family.part == part && family.fault == fault) return &family;
  return nullptr;
}

}  // namespace gearhark::testing
