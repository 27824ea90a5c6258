#include "gearhark/diagnosis/confirm.hpp"

#include <catch2/catch.hpp>

#include "../heron.hpp"
#include "gearhark/synthesis/synthesis.hpp"

using namespace gearhark;
using test::heron;

namespace {

// One run at a true 62 km/h in third gear, the needle reading 65, with the pinion's head bearing at
// `level_db`.
RunSound one_run(const Car& car, std::optional<double> level_db, std::uint64_t seed) {
  SoundSettings settings;
  settings.run.speed = settings.run.end_speed = Speed(62.0 / 3.6);
  settings.run.duration = Seconds(14.0);
  if (level_db) {
    settings.fault = SoundFault{};
    settings.fault->part = "pinion_head_bearing";
    settings.fault->level = Decibels::already(*level_db);
  }
  settings.car_seed = 5 + seed;
  settings.run_seed = seed;
  auto sound = synthesise(car, settings);
  REQUIRE(sound);
  RunSound run;
  run.run.gear = Gear{"3"};
  run.run.speed.points = {{Seconds(0), Speed(65.0 / 3.6)}};
  run.recording.sample_rate = sound->sample_rate;
  run.recording.samples = std::move(sound->samples);
  return run;
}

ConfirmSettings outer_race(int injections) {
  ConfirmSettings settings;
  settings.fault = Fault::outer_race;
  settings.injections = injections;
  return settings;
}

}  // namespace

TEST_CASE("the level found 9 times in 10 lies above the step from never to always") {
  const auto loudness =
      loudness_found({{-6, false}, {-3, false}, {-1, false}, {1, true}, {3, true}, {6, true}});
  REQUIRE(loudness);
  CHECK(loudness->found_9_in_10.value() > 0.0);
  CHECK(loudness->found_9_in_10.value() < 5.0);
  CHECK(loudness->tried == 6);
  CHECK(loudness->found == 3);
}

TEST_CASE("trials that scatter ask for more level than trials that do not") {
  const auto sharp = loudness_found({{-3, false}, {-1, false}, {1, true}, {3, true}});
  const auto scattered =
      loudness_found({{-6, true}, {-3, false}, {-1, true}, {1, false}, {3, true}, {6, false}});
  REQUIRE(sharp);
  REQUIRE(scattered);
  CHECK(scattered->found_9_in_10 > sharp->found_9_in_10);
}

TEST_CASE("what is never found has no level") {
  CHECK_FALSE(loudness_found({{0, false}, {6, false}, {12, false}}));
  CHECK_FALSE(loudness_found({}));
}

TEST_CASE("a fault that is not there is not heard, and one as loud as was said would have been") {
  const Car car = heron();
  const auto healthy = confirm(car, {one_run(car, {}, 8)}, "pinion_head_bearing", outer_race(12));
  REQUIRE(healthy);
  CHECK(healthy->verdict != ConfirmVerdict::heard);
  REQUIRE(healthy->by_run.size() == 1);
  CHECK(healthy->by_run.front().injected == 12);
  REQUIRE(healthy->most_sensitive);
  const double level = healthy->most_sensitive->found_9_in_10.value();
  CHECK(level < 10.0);
  // By another route: the whole car synthesised with the fault in it.
  const auto faulty = confirm(car, {one_run(car, level, 8)}, "pinion_head_bearing", outer_race(0));
  REQUIRE(faulty);
  CHECK(faulty->verdict == ConfirmVerdict::heard);
  CHECK(faulty->heard >= faulty->enough);
  CHECK(faulty->by_run.front().injected == 0);
}

TEST_CASE("a suspect that the car lacks and a fault it can't have are refused by name") {
  const Car car = heron();
  const std::vector<RunSound> runs{one_run(car, {}, 8)};
  const auto nobody = confirm(car, runs, "pinion_heat_bearing", {});
  REQUIRE_FALSE(nobody);
  CHECK(nobody.error().sentence.find("pinion_head_bearing") != std::string::npos);
  ConfirmSettings chipped;
  chipped.fault = Fault::chipped_tooth;
  const auto impossible = confirm(car, runs, "pinion_head_bearing", chipped);
  REQUIRE_FALSE(impossible);
  CHECK(impossible.error().sentence.find("outer race") != std::string::npos);
}
