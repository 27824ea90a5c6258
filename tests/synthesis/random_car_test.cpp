#include "gearhark/synthesis/random_car.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <set>

#include "gearhark/car/lines.hpp"
#include "gearhark/synthesis/synthesis.hpp"

using namespace gearhark;

TEST_CASE("every random car drives in each of its gears, the higher the gear the slower the engine") {
  std::set<std::string> layouts;
  for (std::uint64_t seed = 1; seed <= 40; ++seed) {
    const Car car = random_car(seed);
    INFO("car " << seed << ", " << car.name);
    layouts.insert(car.name);
    double last = 100.0;
    for (const Gear& gear : car.gears) {
      REQUIRE(shaft_rates(car, {gear}));
      if (gear.neutral()) continue;
      const double ratio = *overall_ratio(car, gear);
      CHECK(std::abs(ratio) < 0.98 * last);
      CHECK(std::abs(ratio) > 2.5);
      CHECK(std::abs(ratio) < 20.0);
      last = std::abs(ratio);
    }
  }
  CHECK(layouts.size() == 3);
}

TEST_CASE("the elements of a random car's bearings fit their pitch circles") {
  for (std::uint64_t seed = 1; seed <= 40; ++seed)
    for (const Bearing& bearing : random_car(seed).bearings) {
      if (!bearing.geometry_known()) continue;
      const double around = *bearing.count * (*bearing.element_diameter / *bearing.pitch_diameter);
      CHECK(around < 0.96 * std::numbers::pi);
      CHECK(around > 0.47 * std::numbers::pi);  // 0.48 in a published bearing of tests/car/bearing.cpp
    }
}

TEST_CASE("the same seed gives the same car, another seed another") {
  CHECK(random_car(5).tyre.rolling_circumference == random_car(5).tyre.rolling_circumference);
  CHECK(random_car(5).pairs[0].driven_teeth == random_car(5).pairs[0].driven_teeth);
  CHECK(random_car(5).tyre.rolling_circumference != random_car(6).tyre.rolling_circumference);
}

TEST_CASE("every part of a random car can be given a fault, and a bearing of unknown geometry sounds too") {
  const Car car = random_car(3);
  for (const Bearing& bearing : car.bearings) {
    if (bearing.turning == TurningRing::both) continue;
    SoundSettings settings;
    settings.run.gear = Gear{"2"};
    settings.run.duration = Seconds(0.5);
    settings.fault.emplace();
    settings.fault->part = bearing.id;
    const auto sound = synthesise(car, settings);
    REQUIRE(sound);
    INFO(bearing.id);
    CHECK(sound->truth.event_times.size() > 3);
  }
}
