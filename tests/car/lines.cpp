// Predicted lines against published mesh, hunting-tooth, belt and firing rates.
#include "gearhark/car/lines.hpp"

#include "cars.hpp"

using namespace gearhark;
using namespace gearhark::testing;

namespace {

// A pair between the engine and an axle, the engine turning at `engine_hz`.
struct PairLines {
  double mesh, phase, hunting;
};
PairLines pair_lines(int driving, int driven, double engine_hz) {
  const Car car = car_from(
      "gears = [1]\n" + head +
      "[[shaft]]\nid = \"out\"\n[[gear_pair]]\nid = \"p\"\ndriving_shaft = \"engine\"\ndriven_shaft = "
      "\"out\"\ndriving = " +
      std::to_string(driving) + "\ndriven = " + std::to_string(driven) +
      "\n[[differential]]\nid = \"d\"\ncarrier = \"out\"\nleft = \"wheel_rl\"\nright = \"wheel_rr\"\n");
  const DriveState state{{"1"}};
  const auto lines = predicted_lines(car, state, *shaft_rates(car, state));
  const ShaftRate wheel(engine_hz * driving / driven);
  const auto hz = [&](LineKind kind) {
    const Line* line = find_line(lines, "p", kind);
    return line ? line->rate.at(wheel).value() : 0.0;
  };
  return {hz(LineKind::mesh), hz(LineKind::mesh_phase), hz(LineKind::hunting_tooth)};
}

}  // namespace

TEST_CASE("mesh, assembly phase and hunting tooth of 8/42 at 20 turns per second are 160, 80 and 0.952 Hz") {
  // A public manual's example for mesh and phase; hunting tooth by the handbook formula f1 gcd / z2 (from
  // memory).
  const PairLines lines = pair_lines(8, 42, 20.0);
  CHECK(lines.mesh == Approx(160.0));
  CHECK(lines.phase == Approx(80.0));
  CHECK(lines.hunting == Approx(0.95238).epsilon(1e-5));
}

TEST_CASE("a 13-tooth gear meshes at 216.66, 433.33 and 866.66 Hz at 1000, 2000 and 4000 rpm") {
  // Published order analysis of a V8 driveline; truncated figures.
  CHECK(pair_lines(13, 37, 1000.0 / 60.0).mesh == Approx(216.66).epsilon(1e-4));
  CHECK(pair_lines(13, 37, 2000.0 / 60.0).mesh == Approx(433.33).epsilon(1e-4));
  CHECK(pair_lines(13, 37, 4000.0 / 60.0).mesh == Approx(866.66).epsilon(1e-4));
}

TEST_CASE("the hunting-tooth rate is the handbook's, not gcd times shaft rate") {
  // GMF gcd / (z1 z2), vibration handbooks, from memory; a public glossary has gcd x shaft rate (30 Hz for
  // 23/67) instead.
  CHECK(pair_lines(23, 67, 30.0).mesh == Approx(690.0));
  CHECK(pair_lines(23, 67, 30.0).hunting == Approx(0.4478).epsilon(1e-4));
  CHECK(pair_lines(20, 60, 30.0).hunting == Approx(10.0));
  CHECK(pair_lines(18, 54, 60.0).hunting == Approx(20.0));
  CHECK(pair_lines(23, 67, 30.0).phase == 0.0);
}

TEST_CASE("final drives of the period whine between 300 and 500 Hz at 50 to 60 mph") {
  // Service literature (general) on axle noise: the band; tooth counts and tyre of the check are ours.
  for (const auto& [pinion, ring] : {std::pair{12, 37}, {9, 41}, {13, 33}})
    for (const double mph : {50.0, 60.0}) {
      std::string text = transaxle;
      text.replace(text.find("pinion = 8"), 10, "pinion = " + std::to_string(pinion));
      text.replace(text.find("ring = 42"), 9, "ring = " + std::to_string(ring));
      const Car car = car_from(text);
      const auto lines = predicted_lines(car, {{"1"}}, rates_of(car, "1"));
      const ShaftRate wheel(mph * 0.44704 / (3.05 * 0.733));  // P235/75R15
      const double hz = find_line(lines, "ring_and_pinion", LineKind::mesh)->rate.at(wheel).value();
      CHECK(hz == Approx(ring * wheel.value()));
      CHECK(hz > 300.0);
      CHECK(hz < 500.0);
    }
}

TEST_CASE("firing follows the cylinders: 100 Hz for four at 3000 rpm, 150 for six, 120 for eight at 1800") {
  // Four-stroke firing order = cylinders / 2; a V8's fourth order in a published order analysis, the rest
  // from memory.
  for (const auto& [cylinders, rpm, hz] :
       {std::tuple{4, 3000.0, 100.0}, {6, 3000.0, 150.0}, {8, 1800.0, 120.0}}) {
    std::string text = transaxle;
    text.replace(text.find("cylinders = 4"), 13, "cylinders = " + std::to_string(cylinders));
    const Car car = car_from(text);
    const auto lines = predicted_lines(car, {{"N"}}, rates_of(car, "N"));
    CHECK(
        find_line(lines, "engine", LineKind::firing)->rate.at(ShaftRate(0), ShaftRate(rpm / 60.0)).value() ==
        Approx(hz));
  }
}

TEST_CASE("a belt drives its machine by the pulleys and goes round by its length") {
  // f2 = f1 D1 / D2; belt passes pi D1 f1 / L: handbook formulas, from memory.
  const Car car = car_from(transaxle +
                           "[[machine]]\nid = \"fan\"\ncrank_pulley = \"150 mm\"\npulley = \"75 "
                           "mm\"\nbelt_length = \"900 mm\"\nblades = 6\n");
  const auto lines = predicted_lines(car, {{"N"}}, rates_of(car, "N"));
  const auto hz = [&](LineKind kind, int harmonic) {
    return find_line(lines, "fan", kind, harmonic)->rate.at(ShaftRate(0), ShaftRate(30)).value();
  };
  CHECK(hz(LineKind::machine_turn, 1) == Approx(60.0));
  CHECK(hz(LineKind::machine_turn, 6) == Approx(360.0));
  CHECK(hz(LineKind::belt, 1) == Approx(15.70796));
  CHECK(find_line(lines, "fan", LineKind::machine_turn)->low == Approx(-0.02));
}

TEST_CASE("a mesh line is that of the fixed gear, also for pairs that idle") {
  const Car car = car_from(transaxle);
  const auto rates = rates_of(car, "1");
  const auto lines = predicted_lines(car, {{"1"}}, rates);
  // Gear 2's loose gear is the driving one, so its mesh follows the output shaft's 31 teeth.
  const Line* idle = find_line(lines, "gear_pair_2", LineKind::mesh);
  REQUIRE(idle);
  CHECK_FALSE(idle->loaded);
  CHECK(std::abs(idle->rate.wheel) == Approx(31.0 * 42.0 / 8.0));
  const Line* loaded = find_line(lines, "gear_pair_1", LineKind::mesh);
  REQUIRE(loaded);
  CHECK(loaded->loaded);
  CHECK(std::abs(loaded->rate.wheel) == Approx(42.0 * 42.0 / 8.0));
}

TEST_CASE("a sliding pair is silent outside its own gear") {
  const Car car = car_from(three_shaft);
  const auto in_one = predicted_lines(car, {{"1"}}, rates_of(car, "1")),
             in_reverse = predicted_lines(car, {{"R"}}, rates_of(car, "R"));
  CHECK(find_line(in_one, "gear_pair_R", LineKind::mesh) == nullptr);
  CHECK(find_line(in_reverse, "gear_pair_R", LineKind::mesh) != nullptr);
}

TEST_CASE("mesh sidebands lie one turn of either gear from the mesh") {
  const Car car = car_from(transaxle);
  const auto rates = rates_of(car, "1");
  const auto lines = predicted_lines(car, {{"1"}}, rates);
  int found = 0;
  for (const auto& line : lines) {
    if (line.kind != LineKind::mesh_sideband) continue;
    const Line* mesh = find_line(lines, line.part, LineKind::mesh, line.harmonic);
    REQUIRE(mesh);
    CHECK((line.rate - mesh->rate).wheel == Approx(line.sideband * rates.at(line.sideband_shaft).wheel));
    ++found;
  }
  CHECK(found == 3 * 4 * 4);  // pairs, harmonics, both sides of two gears
}

TEST_CASE("a pair known by its ratio alone has no mesh line, but its gears still turn") {
  const Car car = car_from(head +
                           "[gearbox]\nkind = \"two-shaft\"\n[[gearbox.gear]]\ngear = 1\nratio = "
                           "\"3.55\"\n[final_drive]\npinion = 9\nring = 41\n");
  const auto rates = rates_of(car, "1");
  CHECK(find_line(predicted_lines(car, {{"1"}}, rates), "gear_pair_1", LineKind::mesh) == nullptr);
  const auto families = fault_families(car, {{"1"}}, rates);
  CHECK(find_family(families, "gear_pair_1", Fault::worn_teeth) == nullptr);
  CHECK(find_family(families, "gear_pair_1", Fault::chipped_tooth) != nullptr);
}

TEST_CASE("a pilot bearing is silent in direct gear and a spigot bearing while the pedal is up") {
  const Car car =
      car_from(three_shaft +
               "[[bearing]]\nid = \"pilot\"\nshaft = \"mainshaft\"\nouter_shaft = \"input\"\nelements = 14\n"
               "[[bearing]]\nid = \"spigot\"\nshaft = \"input\"\nouter_shaft = \"engine\"\nelements = 7\n"
               "[[bearing]]\nid = \"release\"\nshaft = \"engine\"\nplace = \"release\"\nelements = 11\n");
  const auto suspected = [&](const std::string& part, const DriveState& state) {
    return find_family(fault_families(car, state, *shaft_rates(car, state)), part, Fault::outer_race) !=
           nullptr;
  };
  CHECK(suspected("pilot", {{"1"}}));
  CHECK_FALSE(suspected("pilot", {{"2"}}));
  CHECK_FALSE(suspected("spigot", {{"1"}}));
  CHECK(suspected("spigot", {{"1"}, Clutch::pedal_down}));
  CHECK_FALSE(suspected("release", {{"N"}}));
  CHECK(suspected("release", {{"N"}, Clutch::pedal_down}));
}

TEST_CASE("every fault has a word, and every word its fault") {
  for (const auto fault : {Fault::outer_race, Fault::inner_race, Fault::rolling_element, Fault::cage,
                           Fault::worn_teeth, Fault::chipped_tooth, Fault::out_of_balance, Fault::worn_joint,
                           Fault::dry_joint, Fault::uneven_wear, Fault::worn_machine})
    CHECK(fault_from_text(to_text(fault)) == fault);
  CHECK_FALSE(fault_from_text("gremlins"));
}
