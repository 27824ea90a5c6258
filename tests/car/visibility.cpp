// The directions are trade practice (service literature (general); common practice, no published source); the
// numbers judged.
#include <filesystem>

#include "cars.hpp"

using namespace gearhark;
using namespace gearhark::testing;

namespace {

const Car& car() {
  static const Car it = car_from(three_shaft + R"([[bearing]]
id = "head"
shaft = "pinion"
place = "pinion head"
elements = 17
[[bearing]]
id = "tail"
shaft = "pinion"
place = "pinion tail"
elements = 14
[[bearing]]
id = "lay"
shaft = "layshaft"
elements = 9
[[bearing]]
id = "left"
shaft = "wheel_rl"
elements = 8
[[bearing]]
id = "right"
shaft = "wheel_rr"
elements = 8
[[bearing]]
id = "release"
shaft = "engine"
place = "release"
elements = 9
)");
  return it;
}

double seen(const std::string& part, Fault fault, const DriveState& state, Load load,
            Turn turn = Turn::straight) {
  const auto families = fault_families(car(), state, *shaft_rates(car(), state));
  const Family* family = find_family(families, part, fault);
  REQUIRE(family);
  return visibility(car(), *family, state, load, turn);
}

double bearing(const std::string& part, const std::string& gear, Load load, Turn turn = Turn::straight) {
  return seen(part, Fault::outer_race, {{gear}}, load, turn);
}

}  // namespace

TEST_CASE("a pinion head bearing is louder on drive, a tail bearing on coast, and both go on in neutral") {
  CHECK(bearing("head", "1", Load::drive) > bearing("head", "1", Load::coast));
  CHECK(bearing("tail", "1", Load::coast) > bearing("tail", "1", Load::drive));
  CHECK(bearing("head", "N", Load::neutral) > 0.0);
  CHECK(bearing("tail", "N", Load::neutral) > 0.0);
}

TEST_CASE("a left turn loads the right wheel bearing and a right turn the left") {
  CHECK(bearing("right", "2", Load::drive, Turn::left) > bearing("right", "2", Load::drive));
  CHECK(bearing("right", "2", Load::drive, Turn::right) < bearing("right", "2", Load::drive));
  CHECK(bearing("left", "2", Load::drive, Turn::right) == bearing("right", "2", Load::drive, Turn::left));
}

TEST_CASE("a layshaft bearing is quietest in direct gear") {
  CHECK(bearing("lay", "2", Load::drive) < 0.5 * bearing("lay", "1", Load::drive));
}

TEST_CASE("a gear pair sounds worn in its own gear under load") {
  const double own = seen("gear_pair_1", Fault::worn_teeth, {{"1"}}, Load::drive);
  CHECK(own == 1.0);
  CHECK(seen("gear_pair_1", Fault::worn_teeth, {{"2"}}, Load::drive) < 0.3 * own);
  CHECK(seen("gear_pair_1", Fault::worn_teeth, {{"1"}}, Load::floating) < own);
}

TEST_CASE("a release bearing sounds with the pedal down only") {
  CHECK(seen("release", Fault::outer_race, {{"N"}, Clutch::pedal_down}, Load::neutral) == 1.0);
}

TEST_CASE("visibility of every family of every model car lies between 0 and 1") {
  for (const auto& entry :
       std::filesystem::directory_iterator(std::string(GEARHARK_SOURCE_DIR) + "/models")) {
    if (entry.path().extension() != ".toml") continue;
    const auto model = load_car(entry.path().string());
    REQUIRE(model);
    for (const auto& gear : model->gears)
      for (const auto& family : fault_families(*model, {gear}, *shaft_rates(*model, {gear})))
        for (const auto load : {Load::drive, Load::floating, Load::coast, Load::neutral})
          for (const auto turn : {Turn::straight, Turn::left, Turn::right}) {
            const double v = visibility(*model, family, {gear}, load, turn);
            if (!(v >= 0.0 && v <= 1.0)) FAIL(model->name << " " << family.part << " " << v);
          }
  }
}
