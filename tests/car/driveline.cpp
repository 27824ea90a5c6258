// Shaft rates against published gear trains and against products of ratios.
#include "gearhark/car/driveline.hpp"

#include <random>
#include <sstream>

#include "cars.hpp"
#include "gearhark/car/joint.hpp"

using namespace gearhark;
using namespace gearhark::testing;
using Catch::Matchers::Contains;

namespace {

double wheel_order(const ShaftRates& rates, const std::string& shaft) {
  INFO(shaft);
  REQUIRE(rates.contains(shaft));
  return rates.at(shaft).wheel;
}

}  // namespace

TEST_CASE("in gear, every shaft follows the wheels by the product of the ratios on the way") {
  const Car car = car_from(three_shaft);
  const auto rates = rates_of(car, "1");
  const double pinion = 43.0 / 9.0, input = pinion * (34.0 / 14.0) * (23.0 / 16.0);
  CHECK(std::abs(wheel_order(rates, "pinion")) == Approx(pinion));
  CHECK(std::abs(wheel_order(rates, "propshaft")) == Approx(pinion));
  CHECK(std::abs(wheel_order(rates, "engine")) == Approx(input));
  CHECK(std::abs(wheel_order(rates, "layshaft")) == Approx(input * 16.0 / 23.0));
  CHECK(*overall_ratio(car, {"1"}) == Approx(input));
  CHECK(*overall_ratio(car, {"2"}) == Approx(pinion));
}

TEST_CASE("an idler turns the output the other way") {
  const Car car = car_from(three_shaft);
  const double forward = wheel_order(rates_of(car, "1"), "engine"),
               back = wheel_order(rates_of(car, "R"), "engine");
  CHECK(forward * back < 0.0);
  CHECK(std::abs(back) == Approx((43.0 / 9.0) * (33.0 / 14.0) * (23.0 / 16.0)));
}

TEST_CASE("in neutral with the clutch engaged the engine turns its side and the road the other") {
  const auto rates = rates_of(car_from(three_shaft), "N");
  for (const auto* shaft : {"engine", "input", "layshaft", "gear_pair_1/loose"})
    CHECK(rates.at(shaft).engine_bound());
  for (const auto* shaft : {"mainshaft", "propshaft", "pinion", "carrier", "wheel_fl"})
    CHECK(rates.at(shaft).road_bound());
  CHECK(std::abs(rates.at("layshaft").engine) == Approx(16.0 / 23.0));
}

TEST_CASE("in neutral with the pedal down nothing determines the layshaft, and it is left out") {
  const auto rates = rates_of(car_from(three_shaft), "N", Clutch::pedal_down);
  CHECK_FALSE(rates.contains("layshaft"));
  CHECK_FALSE(rates.contains("input"));
  CHECK(rates.at("engine").engine_bound());
  CHECK(rates.at("pinion").road_bound());
}

TEST_CASE("in gear with the pedal down the road turns the gearbox and the engine runs free") {
  const auto rates = rates_of(car_from(three_shaft), "1", Clutch::pedal_down);
  CHECK(rates.at("input").road_bound());
  CHECK(rates.at("engine").engine_bound());
}

TEST_CASE("in a bend the wheels of both axles part by the bend, and the carrier keeps their mean") {
  const auto rates = rates_of(car_from(transaxle), "1");
  for (const auto* left : {"wheel_fl", "wheel_rl"}) CHECK(rates.at(left).bend == Approx(-1.0));
  for (const auto* right : {"wheel_fr", "wheel_rr"}) CHECK(rates.at(right).bend == Approx(1.0));
  CHECK(rates.at("carrier").bend == 0.0);
  CHECK(rates.at("engine").bend == 0.0);
  CHECK(rates.at("wheel_rr").at(ShaftRate(10), ShaftRate(0), ShaftRate(0.25)).value() == Approx(10.25));
}

TEST_CASE("the ring-fixed set 21/43/108 reduces 6.14286 to 1") {
  // University of Ljubljana lecture notes on planetary transmissions. It is profile-shifted: ring - sun is
  // not twice the planet.
  const Car car = car_from("gears = [1]\n" + head + R"([[shaft]]
id = "out"
[[epicyclic]]
id = "set"
sun_shaft = "engine"
carrier_shaft = "out"
sun = 21
planet = 43
ring = 108
[[differential]]
id = "axle"
carrier = "out"
left = "wheel_rl"
right = "wheel_rr"
)");
  CHECK(*overall_ratio(car, {"1"}) == Approx(6.14286).epsilon(1e-6));
}

TEST_CASE("the research wind-turbine gearbox steps up 81.49 to 1, and its meshes lie where published") {
  // NREL/TP-5000-51885; tooth counts and mesh rates from memory: 1800 rpm gives 660, 172.5 and 36.446 Hz,
  // carrier 0.36814 Hz.
  const Car car = car_from("gears = [1]\n" + head + R"([[shaft]]
id = "rotor"
[[shaft]]
id = "sun"
[[shaft]]
id = "middle"
[[epicyclic]]
id = "planet_stage"
sun_shaft = "sun"
carrier_shaft = "rotor"
sun = 21
planet = 39
ring = 99
[[gear_pair]]
id = "middle_stage"
driving_shaft = "sun"
driven_shaft = "middle"
driving = 82
driven = 23
[[gear_pair]]
id = "fast_stage"
driving_shaft = "middle"
driven_shaft = "engine"
driving = 88
driven = 22
[[differential]]
id = "hub"
carrier = "rotor"
left = "wheel_rl"
right = "wheel_rr"
)");
  CHECK(*overall_ratio(car, {"1"}) == Approx(81.4907).epsilon(1e-6));
  const DriveState state{{"1"}};
  const auto rates = *shaft_rates(car, state);
  const ShaftRate rotor(30.0 / std::abs(rates.at("engine").wheel));
  CHECK(rotor.value() == Approx(0.36814).epsilon(2e-5));
  const auto lines = predicted_lines(car, state, rates);
  CHECK(find_line(lines, "fast_stage", LineKind::mesh)->rate.at(rotor).value() == Approx(660.0));
  CHECK(find_line(lines, "middle_stage", LineKind::mesh)->rate.at(rotor).value() == Approx(172.5));
  CHECK(find_line(lines, "planet_stage", LineKind::mesh)->rate.at(rotor).value() ==
        Approx(36.446).epsilon(2e-5));
}

TEST_CASE("a propshaft turns and shakes as the published example says") {
  // Service literature (general), 2010: 40 mph, tyre 7 Hz, axle 3.08: 22 Hz and 44 Hz, rounded by 2 %.
  const Car car = car_from(head +
                           "[gearbox]\nkind = \"three-shaft\"\ndirect = 1\n[final_drive]\nratio = "
                           "\"3.08\"\n[[joint]]\nid = \"j\"\nshaft = \"propshaft\"\n");
  const DriveState state{{"1"}};
  const auto lines = predicted_lines(car, state, *shaft_rates(car, state));
  CHECK(find_line(lines, "propshaft", LineKind::shaft_turn)->rate.at(ShaftRate(7)).value() == Approx(21.56));
  CHECK(find_line(lines, "j", LineKind::joint)->rate.at(ShaftRate(7)).value() == Approx(43.12));
  CHECK(find_line(lines, "j", LineKind::joint)->rate.at(ShaftRate(7)).value() == Approx(44.0).epsilon(0.021));
}

TEST_CASE("road speed at 6800 rpm in each gear matches a published table") {
  // A kit car builders' data page: axle 3.636, gears 3.337, 1.995, 1.418 and 1.0, 881 turns per mile: 38, 63,
  // 89, 127 mph, truncated.
  std::ostringstream text;
  text << head << "[gearbox]\nkind = \"two-shaft\"\n[final_drive]\nratio = \"3.636\"\n";
  const std::vector<std::pair<std::string, int>> gears{
      {"3.337", 38}, {"1.995", 63}, {"1.418", 89}, {"1.000", 127}};
  for (std::size_t i = 0; i < gears.size(); ++i)
    text << "[[gearbox.gear]]\ngear = " << i + 1 << "\nratio = \"" << gears[i].first << "\"\n";
  const Car car = car_from(text.str());
  for (std::size_t i = 0; i < gears.size(); ++i) {
    const double wheel_rpm = 6800.0 / *overall_ratio(car, {std::to_string(i + 1)});
    CHECK(static_cast<int>(wheel_rpm * 60.0 / 881.0) == gears[i].second);
  }
}

TEST_CASE("a chain of random pairs multiplies its ratios, whatever the counts") {
  std::mt19937 random(7);
  std::uniform_int_distribution<int> teeth(5, 90), length(1, 6);
  for (int trial = 0; trial < 40; ++trial) {
    const int pairs = length(random);
    std::ostringstream shafts, tables;
    double expected = 1.0;
    std::string from = "engine";
    for (int i = 0; i < pairs; ++i) {
      const int driving = teeth(random), driven = teeth(random);
      expected *= static_cast<double>(driven) / driving;
      shafts << "[[shaft]]\nid = \"s" << i << "\"\n";
      tables << "[[gear_pair]]\nid = \"p" << i << "\"\ndriving_shaft = \"" << from << "\"\ndriven_shaft = \"s"
             << i << "\"\ndriving = " << driving << "\ndriven = " << driven << "\n";
      from = std::string("s").append(std::to_string(i));
    }
    tables << "[[differential]]\nid = \"d\"\ncarrier = \"" << from
           << "\"\nleft = \"wheel_rl\"\nright = \"wheel_rr\"\n";
    CHECK(*overall_ratio(car_from("gears = [1]\n" + head + shafts.str() + tables.str()), {"1"}) ==
          Approx(expected).epsilon(1e-9));
  }
}

TEST_CASE("only the pairs on the way from engine to wheels carry load") {
  const Car car = car_from(three_shaft);
  using Set = std::set<std::string, std::less<>>;
  CHECK(loaded_gears(car, {{"1"}}) == Set{"gear_pair_1", "input_pair", "ring_and_pinion"});
  CHECK(loaded_gears(car, {{"2"}}) == Set{"ring_and_pinion"});
  CHECK(loaded_gears(car, {{"R"}}) ==
        Set{"gear_pair_R", "gear_pair_R/idler", "input_pair", "ring_and_pinion"});
  CHECK(loaded_gears(car, {{"N"}}).empty());
  CHECK(loaded_gears(car, {{"1"}, Clutch::pedal_down}).empty());
}

TEST_CASE(
    "with both axles locked together in low range, both ring and pinions carry load, in high range only the "
    "rear") {
  const auto car = load_car(std::string(GEARHARK_SOURCE_DIR) + "/models/bittern_four_wheel_drive.toml");
  REQUIRE(car);
  CHECK(loaded_gears(*car, {{"3 low"}}).contains("ring_and_pinion_front"));
  CHECK(loaded_gears(*car, {{"3 low"}}).contains("ring_and_pinion_rear"));
  CHECK(loaded_gears(*car, {{"3 low"}}).contains("transfer_low_pair"));
  CHECK_FALSE(loaded_gears(*car, {{"3"}}).contains("ring_and_pinion_front"));
  CHECK_FALSE(loaded_gears(*car, {{"3"}}).contains("transfer_low_pair"));
}

TEST_CASE(
    "a centre differential gives the front and rear propshafts the gearbox's mean, and loads both axles") {
  std::string text = three_shaft;
  text.replace(text.find("\"rear\""), 6, "\"all\"");
  text.replace(text.find("[final_drive]"), 13,
               "[transfer_case]\ncentre_differential = true\n[[final_drive]]\naxle = \"front\"\npinion = "
               "9\nring = 43\n[[final_drive]]\naxle = \"rear\"");
  const Car car = car_from(text);
  const auto rates = rates_of(car, "1");
  CHECK(wheel_order(rates, "propshaft_front") == Approx(wheel_order(rates, "propshaft_rear")));
  CHECK(*overall_ratio(car, {"2"}) == Approx(43.0 / 9.0));
  CHECK(loaded_gears(car, {{"2"}}) ==
        std::set<std::string, std::less<>>{"ring_and_pinion_front", "ring_and_pinion_rear"});
}

TEST_CASE(
    "an overdrive of 21 and 75 teeth turns its output 96/75 of its input, and runs as one piece when off") {
  const auto car = load_car(std::string(GEARHARK_SOURCE_DIR) + "/models/plover_live_axle_overdrive.toml");
  REQUIRE(car);
  CHECK(*overall_ratio(*car, {"4"}) / *overall_ratio(*car, {"4 overdrive"}) == Approx(96.0 / 75.0));
  const DriveState off{{"4"}}, on{{"4 overdrive"}};
  CHECK(find_family(fault_families(*car, off, *shaft_rates(*car, off)), "overdrive", Fault::worn_teeth) ==
        nullptr);
  CHECK(find_family(fault_families(*car, on, *shaft_rates(*car, on)), "overdrive", Fault::worn_teeth) !=
        nullptr);
}

TEST_CASE("a stated ratio spreads by its rounding, and a belt by its creep") {
  const Car car = car_from(head +
                           "[gearbox]\nkind = \"two-shaft\"\n[[gearbox.gear]]\ngear = 1\nratio = "
                           "\"3.55\"\n[final_drive]\npinion = 9\nring = 41\n"
                           "[[machine]]\nid = \"fan\"\nratio = \"2.000\"\ncreep = \"2 %\"\n");
  const auto spreads = shaft_spreads(car, {{"1"}});
  CHECK(spreads.at("pinion").high == Approx(0.0).margin(1e-12));
  CHECK(spreads.at("engine").high == Approx(0.005 / 3.55).epsilon(0.01));
  CHECK(spreads.at("engine").low == Approx(-0.005 / 3.55).epsilon(0.01));
  CHECK(spreads.at("fan").low == Approx(-0.005 / 3.55 - 0.02).epsilon(0.02));
}

TEST_CASE("a gear the car lacks is named with those it has") {
  const auto rates = shaft_rates(car_from(transaxle), {{"6"}});
  REQUIRE_FALSE(rates);
  CHECK_THAT(rates.error().sentence, Contains("\"6\"") && Contains("N, 1 and 2"));
  CHECK_FALSE(overall_ratio(car_from(transaxle), {"N"}));
}

TEST_CASE("a Hooke's joint at 30 degrees runs between cos 30 and 1 / cos 30") {
  // Public lecture material on Hooke's joint: 0.866025 and 1.154701; unevenness 0.288675 from tan b sin b
  // (from memory).
  double low = 10.0, high = 0.0, sum = 0.0;
  constexpr int steps = 3600;
  for (int i = 0; i < steps; ++i) {
    const double r = hooke_ratio(30.0, Turns(static_cast<double>(i) / steps));
    low = std::min(low, r);
    high = std::max(high, r);
    sum += r;
  }
  CHECK(low == Approx(0.866025).epsilon(1e-6));
  CHECK(high == Approx(1.154701).epsilon(1e-6));
  CHECK(hooke_unevenness(30.0) == Approx(0.288675).epsilon(1e-5));
  CHECK(sum / steps == Approx(1.0).epsilon(1e-9));  // it gains nothing over a turn
  CHECK(hooke_ratio(30.0, Turns(0.1)) == Approx(hooke_ratio(30.0, Turns(0.6))));  // twice per turn
}
