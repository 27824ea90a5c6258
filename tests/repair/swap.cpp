#include "gearhark/repair/swap.hpp"

#include <catch2/catch.hpp>

using namespace gearhark;
using namespace gearhark::literals;

namespace {

Car car_from(const std::string& name, int gear_driven, int pinion, int ring, const std::string& roll_out) {
  const std::string toml =
      "name = \"" + name + "\"\ndriven = \"rear\"\n[engine]\ncylinders = 4\n[tyre]\nroll_out = \"" +
      roll_out +
      "\"\n[gearbox]\nkind = \"two-shaft\"\n[[gearbox.gear]]\ngear = 1\n"
      "driving = 12\ndriven = 42\n[[gearbox.gear]]\ngear = 2\ndriving = 30\ndriven = " +
      std::to_string(gear_driven) + "\n[final_drive]\npinion = " + std::to_string(pinion) +
      "\nring = " + std::to_string(ring) + "\n";
  auto car = read_car(toml, name);
  REQUIRE(car);
  return *car;
}

const SwapQuestion at_72{{{Speed(20.0), SpeedUnit::kmh}}, SpeedometerDrive::unit, 0.0, false, {}};

const SwapGear& gear(const Swap& swap, const std::string& label) {
  for (const auto& g : swap.gears)
    if (g.gear.label == label) return g;
  FAIL("no gear " << label);
  return swap.gears.front();
}

}  // namespace

TEST_CASE("engine speed at a road speed is road speed over roll-out times both ratios") {
  const Car car = car_from("car", 30, 8, 40, "2 m"), donor = car_from("donor", 30, 10, 40, "1.8 m");
  const auto swap = swap_unit(car, donor, at_72);
  REQUIRE(swap);
  // 20 m/s on 2 m: 10 turns/s of the wheels; gear 2 is 1:1, final drives 5 and 4.
  CHECK(gear(*swap, "2").engine_before[0].value() == Approx(50.0));
  CHECK(gear(*swap, "2").engine_after[0].value() == Approx(40.0));
  CHECK(gear(*swap, "1").engine_after[0].value() == Approx(140.0));
  CHECK(*swap->final_before == Approx(5.0));
}

TEST_CASE("a taller final drive slows the cable of a speedometer on the output shaft, not one on a wheel") {
  const Car car = car_from("car", 30, 8, 40, "2 m"), donor = car_from("donor", 30, 10, 40, "1.8 m");
  SwapQuestion asked = at_72;
  asked.reads_high = 0.05;
  const auto by_unit = swap_unit(car, donor, asked);
  CHECK(by_unit->readings[0].before.value() == Approx(21.0));
  CHECK(by_unit->readings[0].after.value() == Approx(21.0 * 4.0 / 5.0));
  asked.drive = SpeedometerDrive::wheel;
  CHECK(swap_unit(car, donor, asked)->readings[0].after.value() == Approx(21.0));
  asked.donor_tyres = true;
  CHECK(swap_unit(car, donor, asked)->readings[0].after.value() == Approx(21.0 / 0.9));
}

TEST_CASE("a needle that would read low is pointed out") {
  const Car car = car_from("car", 30, 8, 40, "2 m"), donor = car_from("donor", 30, 10, 40, "2 m");
  const auto remarks = swap_unit(car, donor, at_72)->remarks;
  CHECK(std::any_of(remarks.begin(), remarks.end(),
                    [](const std::string& r) { return r.find("20.0 % low") != std::string::npos; }));
}

TEST_CASE("facts that differ come first, and what only one file records says so") {
  const Car car = car_from("car", 31, 8, 40, "2 m");
  Car donor = car_from("donor", 31, 10, 40, "2 m");
  Dimension backlash;
  backlash.id = "backlash";
  backlash.limit = *parse_length("0.3mm");
  donor.dimensions = {backlash};
  const auto facts = swap_unit(car, donor, at_72)->facts;
  bool ended = false, found = false;
  for (const SwapFact& f : facts) {
    CHECK_FALSE((ended && f.differs));
    ended |= !f.differs;
    if (f.what == "backlash") {
      found = true;
      CHECK(f.car == "not recorded");
      CHECK(f.donor == "new not given, limit 0.30 mm");
    }
  }
  CHECK(found);
  CHECK(facts.front().what == "ring and pinion");
}

TEST_CASE("the lines that change are those of the changed gears, and the engine's per wheel turn") {
  const Car car = car_from("car", 31, 8, 40, "2 m"), donor = car_from("donor", 31, 9, 40, "2 m");
  const auto swap = swap_unit(car, donor, at_72);
  CHECK(swap->listened.label == "2");
  bool firing = false, wheel_pinion = false;
  for (const SwapLine& line : swap->lines) {
    CHECK(line.part.find("wheel") == std::string::npos);
    if (line.happening == "fires") {
      firing = true;
      CHECK(*line.before / *line.after == Approx(9.0 / 8.0));
    }
    wheel_pinion |= line.part == "gear_pair_2";
  }
  CHECK(firing);
  CHECK(wheel_pinion);
  // The same unit changes nothing.
  CHECK(swap_unit(car, car, at_72)->lines.empty());
}

TEST_CASE("a gear that the donor lacks is said so") {
  const Car car = car_from("car", 31, 8, 40, "2 m");
  SwapQuestion asked = at_72;
  asked.listen = Gear{"5"};
  const auto swap = swap_unit(car, car, asked);
  REQUIRE_FALSE(swap);
  CHECK(swap.error().kind == ErrorKind::usage);
}
