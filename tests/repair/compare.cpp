#include "gearhark/repair/compare.hpp"

#include <catch2/catch.hpp>
#include <set>

#include "../synthesis/small_car.hpp"
#include "gearhark/synthesis/synthesis.hpp"

using namespace gearhark;
using Catch::Contains;

namespace {

// A run in third at a true 62 km/h, the needle reading 65. `level_db` nothing: nothing wrong.
struct Wrong {
  std::string part = "pinion_head";
  Fault fault = Fault::outer_race;
};
RunSound run_of(std::optional<double> level_db, std::uint64_t seed, double recorded_louder_db = 0.0,
                const Wrong& wrong = {}, const std::string& gear = "3", const Car& car = small_car()) {
  SoundSettings settings;
  settings.run.gear = Gear{gear};
  settings.run.speed = settings.run.end_speed = Speed(62.0 / 3.6);
  settings.run.duration = Seconds(10.0);
  settings.car_seed = 5;
  settings.run_seed = seed;
  if (level_db) {
    settings.fault = SoundFault{};
    settings.fault->part = wrong.part;
    settings.fault->fault = wrong.fault;
    settings.fault->level = Decibels::already(*level_db);
    settings.fault->slip = 0.012;
  }
  auto sound = synthesise(car, settings);
  REQUIRE(sound);
  RunSound run;
  run.run.file = "run.wav";
  run.run.gear = Gear{gear};
  run.run.load = Load::drive;
  run.run.speed.points = {{Seconds(0), Speed(65.0 / 3.6)}};
  run.recording.sample_rate = sound->sample_rate;
  run.recording.samples = std::move(sound->samples);
  for (float& s : run.recording.samples)
    s *= static_cast<float>(Decibels::already(recorded_louder_db).amplitude_ratio());
  return run;
}

const PartChange& change_of(const Comparison& c, const std::string& part) {
  for (const PartChange& p : c.parts)
    if (p.part == part) return p;
  FAIL("the part was not followed");
  return c.parts.front();
}

}  // namespace

TEST_CASE("a repaired bearing is gone, though the phone records 6 dB louder on the second day") {
  const Comparison c = compare(small_car(), {run_of(10.0, 1)}, {run_of({}, 2, 6.0)});
  CHECK(c.verdict == Change::gone);
  CHECK(c.part == "pinion_head");
  REQUIRE(c.pairs.size() == 1);
  CHECK(c.pairs[0].gain_db ==
        Approx(6.0).margin(2.5));  // road noise scatters, and the fault adds to the floor
  CHECK(change_of(c, c.part).high_db < 0.0);
}

TEST_CASE("a bearing that was not cured is unchanged, however the phone is held") {
  for (const double louder : {0.0, -8.0}) {
    const Comparison c = compare(small_car(), {run_of(10.0, 1)}, {run_of(10.0, 2, louder)});
    CHECK(c.verdict == Change::unchanged);
  }
}

TEST_CASE("what was heard and stays is never gone, whatever it is") {
  std::uint64_t seed = 40;
  int heard = 0;
  for (const Wrong& wrong :
       {Wrong{"pinion_head", Fault::inner_race}, Wrong{"layshaft_front", Fault::outer_race},
        Wrong{"wheel_right", Fault::rolling_element}, Wrong{"hub_left", Fault::outer_race},
        Wrong{"gear_3", Fault::chipped_tooth}, Wrong{"ring_and_pinion", Fault::chipped_tooth},
        Wrong{"rear_joint", Fault::worn_joint}, Wrong{"generator", Fault::worn_machine}}) {
    INFO(wrong.part << ", " << to_text(wrong.fault));
    const Comparison c =
        compare(small_car(), {run_of(10.0, seed, 0.0, wrong)}, {run_of(10.0, seed + 1, -5.0, wrong)});
    seed += 2;
    CHECK(c.verdict != Change::gone);
    CHECK(c.verdict != Change::reduced);
    heard += c.verdict == Change::unchanged;
  }
  CHECK(heard >= 6);
}

// Short runs, of which two stretches for tones of the usual length can't be made; and sound pairs mesh as
// loud as before.
TEST_CASE("worn teeth are gone when replaced, and as loud as before when not") {
  const Wrong teeth{"ring_and_pinion", Fault::worn_teeth};
  const Comparison cured = compare(small_car(), {run_of(12.0, 1, 0.0, teeth)}, {run_of({}, 2, 4.0)});
  CHECK(cured.verdict == Change::gone);
  CHECK(cured.part == teeth.part);
  const Comparison not_cured =
      compare(small_car(), {run_of(12.0, 1, 0.0, teeth)}, {run_of(12.0, 2, 4.0, teeth)});
  CHECK(not_cured.verdict == Change::unchanged);
  CHECK(change_of(not_cured, teeth.part).low_db < 0.0);
  CHECK(change_of(not_cured, teeth.part).high_db > 0.0);
}

TEST_CASE("an uneven tyre is gone when changed, and as loud as before when not") {
  const Wrong tyre{"tyre_rl", Fault::uneven_wear};
  const Comparison cured = compare(small_car(), {run_of(10.0, 1, 0.0, tyre)}, {run_of({}, 2)});
  CHECK(cured.verdict == Change::gone);
  CHECK(change_of(cured, cured.part).fault == tyre.fault);
  const Comparison not_cured =
      compare(small_car(), {run_of(10.0, 1, 0.0, tyre)}, {run_of(10.0, 2, 0.0, tyre)});
  CHECK(not_cured.verdict == Change::unchanged);
}

TEST_CASE("a run in which the fault did not show does not count beside one in which it did") {
  const Comparison c = compare(small_car(), {run_of(10.0, 1), run_of({}, 3, 0.0, {}, "4")},
                               {run_of({}, 2), run_of({}, 4, 0.0, {}, "4")});
  REQUIRE(c.pairs.size() == 2);
  CHECK(c.verdict == Change::gone);
  CHECK(change_of(c, "pinion_head").pairs == 1);
}

// In direct top the two turn alike; third gear, in which nothing is heard, makes either less likely without
// telling which.
TEST_CASE("two bearings that make the same lines in the runs compared are one noise") {
  const Car car = twin_car();
  const Comparison c = compare(car, {run_of(10.0, 1, 0.0, {}, "4", car), run_of({}, 3, 0.0, {}, "3", car)},
                               {run_of({}, 2, 0.0, {}, "4", car)});
  CHECK(c.verdict == Change::gone);
  const PartChange& change = change_of(c, c.part);
  REQUIRE(change.cannot_be_told_from.size() == 1);
  CHECK(std::set{change.part, change.cannot_be_told_from.front()} ==
        std::set<std::string>{"input_front", "pinion_head"});
  CHECK_THAT(c.reason, Contains("input bearing") && Contains(" or ") && Contains("pinion head bearing"));
}

// Two faults, of which the louder one was cured; or one, which went under another name before.
TEST_CASE("a fault that is still named is not gone, whatever was named before") {
  const auto both = [](std::optional<double> cured_db, std::uint64_t seed) {
    RunSound run = run_of(cured_db, seed, 0.0, {"layshaft_front", Fault::outer_race});
    const RunSound other = run_of(6.0, seed + 1);
    for (std::size_t i = 0; i < std::min(run.recording.samples.size(), other.recording.samples.size()); ++i)
      run.recording.samples[i] += other.recording.samples[i];
    return run;
  };
  const Comparison c = compare(small_car(), {both(12.0, 1)}, {both({}, 3)});
  CHECK(change_of(c, "layshaft_front").verdict == Change::gone);
  CHECK(c.part == "pinion_head");
  CHECK(c.verdict == Change::unchanged);
  CHECK_THAT(c.reason, Contains("the layshaft bearing, is gone"));
}

TEST_CASE("runs are paired by the gear that the sound fits") {
  RunSound noted_wrongly = run_of({}, 2, 0.0, {}, "4");
  noted_wrongly.run.gear = Gear{"3"};
  const Comparison c = compare(small_car(), {run_of(10.0, 1)}, {noted_wrongly});
  CHECK(c.pairs.empty());
  CHECK(c.verdict == Change::not_comparable);
  CHECK(compare(small_car(), {run_of(10.0, 1, 0.0, {}, "4")}, {noted_wrongly}).pairs.size() == 1);
}

TEST_CASE("what was not heard before can't be gone") {
  const Comparison c = compare(small_car(), {run_of({}, 1)}, {run_of({}, 2)});
  CHECK(c.verdict == Change::not_comparable);
  CHECK(c.part.empty());
  CHECK_THAT(c.reason, Contains("nothing to compare"));
}

TEST_CASE("a noise that the repair brought is pointed out") {
  const Comparison c = compare(small_car(), {run_of({}, 1)}, {run_of(10.0, 2)});
  CHECK(c.verdict == Change::not_comparable);
  REQUIRE_FALSE(c.appeared.empty());
  CHECK(c.appeared.front() == "pinion_head");
  CHECK(change_of(c, "pinion_head").verdict == Change::worse);
}

TEST_CASE("runs in different gears are no pair, and the remark says so") {
  RunSound after = run_of({}, 2);
  after.run.load = Load::coast;
  const Comparison c = compare(small_car(), {run_of(10.0, 1)}, {after});
  CHECK(c.verdict == Change::not_comparable);
  CHECK(c.pairs.empty());
  REQUIRE_FALSE(c.remarks.empty());
  CHECK_THAT(c.remarks.front(), Contains("no run in the same gear, load and turn"));
}

// 90 % intervals: of six, fewer than four would hold the truth once in 60 times (binomial).
TEST_CASE("the interval holds the change that was put in") {
  int held = 0;
  std::uint64_t seed = 10;
  for (const double after_db : {10.0, 7.0, 4.0}) {
    for (int again = 0; again < 2; ++again) {
      const Comparison c = compare(small_car(), {run_of(10.0, seed)}, {run_of(after_db, seed + 1, 3.0)});
      seed += 2;
      const PartChange& p = change_of(c, "pinion_head");
      UNSCOPED_INFO(after_db - 10.0 << " dB: " << p.change_db << " [" << p.low_db << ", " << p.high_db
                                    << "]");
      held += p.low_db <= after_db - 10.0 && after_db - 10.0 <= p.high_db;
    }
  }
  CHECK(held >= 4);
}
