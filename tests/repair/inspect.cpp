#include "gearhark/repair/inspect.hpp"

#include <catch2/catch.hpp>

using namespace gearhark;
using namespace gearhark::literals;
using Catch::Contains;

namespace {

Car car_with(std::optional<std::string> fresh, std::optional<std::string> limit) {
  Car car;
  car.name = "Test";
  Dimension d;
  d.id = "backlash";
  if (fresh) d.nominal_new = *parse_length(*fresh);
  if (limit) d.limit = *parse_length(*limit);
  car.dimensions = {d};
  return car;
}

InspectedDimension look(const Car& car, const std::string& words, std::optional<Length> step = {}) {
  const auto measured = parse_measured(words);
  REQUIRE(measured);
  const auto inspection = inspect(car, {*measured}, step);
  REQUIRE(inspection);
  return inspection->dimensions.front();
}

}  // namespace

// Common practice, no published source.
TEST_CASE("0.008 in where new is 0.004 in and the limit 0.010 in: two thirds used, within the limit") {
  const auto seen = look(car_with("0.004in", "0.010in"), "backlash=0.008in");
  CHECK(*seen.wear_used == Approx(2.0 / 3.0).epsilon(1e-9));
  CHECK(seen.verdict == WearVerdict::within_limit);
  CHECK(to_text(seen.verdict) == "within the limit");
}

TEST_CASE("the same in thou, in mm and in inches is the same wear") {
  const Car car = car_with("0.004in", "0.010in");
  CHECK(*look(car, "backlash=8thou").wear_used == Approx(2.0 / 3.0));
  CHECK(*look(car, "backlash=0.2032mm").wear_used == Approx(2.0 / 3.0));
}

TEST_CASE("a thickness shrinks: 4.4 mm of a lining new at 5 mm with the limit at 3 mm has used 30 %") {
  const Car car = car_with("5.0mm", "3.0mm");
  const auto seen = look(car, "backlash=4.4mm");
  CHECK(seen.shrinks);
  CHECK(*seen.wear_used == Approx(0.3));
  CHECK(seen.verdict == WearVerdict::within_limit);
  CHECK(look(car, "backlash=2.8mm").verdict == WearVerdict::beyond_limit);
  CHECK(look(car, "backlash=4.4mm,3.6mm").worst.value() == Approx(0.0036));
}

TEST_CASE("a reading's step is its last digit, or the instrument's where that is coarser") {
  CHECK(parse_reading("0.008in")->resolution.value() == Approx((0.001_in).value()));
  CHECK(parse_reading("0.20 mm")->resolution.value() == Approx(1e-5));
  CHECK(parse_reading("8thou")->resolution.value() == Approx((0.001_in).value()));
  const Car car = car_with("0.004in", "0.010in");
  CHECK(look(car, "backlash=0.0080in", 0.001_in).resolution.value() == Approx((0.001_in).value()));
  CHECK(look(car, "backlash=0.008in", Length(1e-6)).resolution.value() == Approx((0.001_in).value()));
}

TEST_CASE("a reading within half a step of the limit can't be told from it") {
  const Car car = car_with("0.004in", "0.010in");
  CHECK(look(car, "backlash=0.009in").verdict == WearVerdict::within_limit);
  CHECK(look(car, "backlash=0.010in").verdict == WearVerdict::too_near_to_tell);
  CHECK(look(car, "backlash=0.011in").verdict == WearVerdict::beyond_limit);
  CHECK(look(car, "backlash=0.0098in", 0.001_in).verdict == WearVerdict::too_near_to_tell);
}

TEST_CASE("of several readings the worst counts, and half their spread is the uncertainty") {
  const auto seen = look(car_with("0.10mm", "0.30mm"), "backlash=0.16mm,0.20mm,0.18mm");
  CHECK(seen.spread.value() == Approx(4e-5));
  CHECK(seen.mean.value() == Approx(1.8e-4));
  CHECK(*seen.wear_used == Approx(0.5));
  CHECK(*seen.wear_used_low == Approx(0.4));
  CHECK(*seen.wear_used_high == Approx(0.6));
  REQUIRE(seen.remarks.size() == 1);
  CHECK_THAT(seen.remarks[0], Contains("differ by more"));
}

TEST_CASE("a reading on the unworn side of new is pointed out, not praised") {
  const auto seen = look(car_with("0.10mm", "0.30mm"), "backlash=0.05mm");
  CHECK(seen.verdict == WearVerdict::outside_new);
  CHECK_THAT(seen.remarks.back(), Contains("adjustment"));
}

TEST_CASE("without a limit nothing is judged, without new no share is given") {
  CHECK(look(car_with("0.1mm", {}), "backlash=0.2mm").verdict == WearVerdict::no_limit);
  const auto seen = look(car_with({}, "0.3mm"), "backlash=0.2mm");
  CHECK(seen.verdict == WearVerdict::within_limit);
  CHECK_FALSE(seen.wear_used);
}

TEST_CASE("what can't be judged says what would be right") {
  const Car car = car_with("0.1mm", "0.3mm");
  CHECK_THAT(parse_measured("0.2mm").error().sentence, Contains("ring_and_pinion_backlash=0.008in"));
  CHECK_THAT(parse_measured("backlash=0.2").error().sentence, Contains("no unit"));
  CHECK_THAT(parse_measured("backlash=0.2mm,,0.3mm").error().sentence, Contains("is not a length"));
  CHECK_THAT(inspect(car, {*parse_measured("play=0.2mm")}, {}).error().sentence,
             Contains("no clearance \"play\"; it has backlash"));
  CHECK_THAT(inspect(car, {*parse_measured("backlash=-0.2mm")}, {}).error().sentence, Contains("below zero"));
  const auto twice = parse_measured("backlash=0.2mm");
  CHECK_THAT(inspect(car, {*twice, *twice}, {}).error().sentence, Contains("given twice"));
}

TEST_CASE("no verdict on wear speaks of safety") {
  for (const auto v : {WearVerdict::within_limit, WearVerdict::too_near_to_tell, WearVerdict::beyond_limit,
                       WearVerdict::outside_new, WearVerdict::no_limit})
    CHECK_THAT(to_text(v), !Contains("safe"));
}
