#include "gearhark/repair/decide.hpp"

#include <catch2/catch.hpp>

using namespace gearhark;
using Catch::Contains;

namespace {

Car small_car() {
  Car car;
  car.name = "Test";
  car.parts = {
      {"pinion_head_bearing", "pinion head bearing", PartRole::pinion_head_bearing, Corner::none, ""},
      {"carrier_bearing", "carrier bearing", PartRole::carrier_bearing, Corner::none, ""},
      {"wheel_bearing_rl", "rear left wheel bearing", PartRole::wheel_bearing, Corner::left, ""}};
  return car;
}

Chances chances(double pinion, double carrier, double wheel, double none, double unexplained) {
  return {"Test",
          "fault heard",
          {{"pinion_head_bearing", "pinion head bearing", Probability(pinion)},
           {"carrier_bearing", "carrier bearing", Probability(carrier)},
           {"wheel_bearing_rl", "rear left wheel bearing", Probability(wheel)}},
          Probability(none),
          Probability(unexplained)};
}

Prices prices(double rebuild, double used, double bad) {
  Prices out;
  out.rebuild = {rebuild, 0.0};
  out.used_unit = Prices::UsedUnit{{used, 0.0}, Probability(bad)};
  return out;
}

const Option& option(const Decision& d, OptionKind kind) {
  for (const Option& o : d.options)
    if (o.kind == kind) return o;
  FAIL("no such option");
  return d.options.front();
}

}  // namespace

// Common practice, no published source.
TEST_CASE("a used unit at a third of a rebuild breaks even when one in three is good") {
  const Decision d = decide(small_car(), chances(1, 0, 0, 0, 0), prices(3000, 1000, 2.0 / 3.0));
  CHECK(*d.used_break_even == Approx(1.0 / 3.0));
  CHECK(option(d, OptionKind::used_unit).expected == Approx(option(d, OptionKind::rebuild).expected));
  CHECK_THAT(option(d, OptionKind::used_unit).break_even.front(),
             Contains("unless more than 67 % of such units are bad") && Contains("one in 3 must be good"));
  CHECK(decide(small_car(), chances(1, 0, 0, 0, 0), prices(3000, 1000, 0.6)).options.front().kind ==
        OptionKind::used_unit);
  CHECK(decide(small_car(), chances(1, 0, 0, 0, 0), prices(3000, 1000, 0.7)).options.front().kind ==
        OptionKind::rebuild);
}

TEST_CASE("hours count at the shop's rate") {
  Prices p = prices(100, 50, 0);
  p.hour = 60;
  p.rebuild.hours = 10;
  CHECK(option(decide(small_car(), chances(1, 0, 0, 0, 0), p), OptionKind::rebuild).outlay == Approx(700));
}

TEST_CASE("one bearing first costs the whole unit as well when the guess was wrong") {
  Prices p = prices(2000, 2500, 0.0);
  p.bearings = {{{"pinion_head_bearing"}, {500, 0}}};
  const Option o = option(decide(small_car(), chances(0.6, 0.3, 0.1, 0, 0), p), OptionKind::replace_parts);
  CHECK(o.expected == Approx(500 + 0.3 * 2000));
  CHECK(o.cures.value() == Approx(0.6));
  CHECK(o.wrong_guess == Approx(500));
  CHECK_THAT(o.break_even.front(), Contains("above 15 %; the diagnosis says 60 %"));
}

TEST_CASE("at its break-even chance the bearing and the whole unit cost the same") {
  Prices p = prices(2000, 2500, 0.0);
  p.bearings = {{{"pinion_head_bearing"}, {500, 0}}};
  const Decision d = decide(small_car(), chances(0.15, 0.75, 0.1, 0, 0), p);
  CHECK(option(d, OptionKind::replace_parts).expected == Approx(option(d, OptionKind::rebuild).expected));
}

TEST_CASE("waiting pays while the chance that the fault gives way stays below its break-even") {
  Prices p = prices(1000, 2000, 0.0);
  p.drive_on = DriveOn{{20, 0}, Probability(0.25), 2000};
  // 20 + f (0.75 x 1000 + 0.25 x 2000) = 1000 at f = 0.784
  const Decision d = decide(small_car(), chances(0.784, 0, 0, 0.216, 0), p);
  CHECK(option(d, OptionKind::drive_on).expected == Approx(option(d, OptionKind::rebuild).expected));
  CHECK_THAT(option(d, OptionKind::drive_on).break_even.front(), Contains("below 25 %; it was put at 25 %"));
}

TEST_CASE("with a wheel bearing among the suspects driving on is advised against, however cheap") {
  Prices p = prices(1000, 2000, 0.0);
  p.drive_on = DriveOn{{0, 0}, Probability(0.0), 0};
  const Decision d = decide(small_car(), chances(0.3, 0, 0.6, 0.1, 0), p);
  CHECK(option(d, OptionKind::drive_on).advised_against);
  CHECK(d.options.back().kind == OptionKind::drive_on);
  CHECK_THAT(d.cautions.front(), Contains("rear left wheel bearing") && Contains("Do not drive on"));
}

TEST_CASE("a fault in the gearbox brings the caution that it can lock the wheels") {
  const Decision d = decide(small_car(), chances(0.9, 0, 0, 0.1, 0), prices(1000, 500, 0.1));
  CHECK_THAT(d.cautions.front(), Contains("lock the driven wheels"));
}
