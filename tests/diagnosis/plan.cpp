#include "gearhark/diagnosis/plan.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "../synthesis/small_car.hpp"

using namespace gearhark;
using Catch::Contains;

namespace {

NextRun run_in(const char* gear, Load load, double kmh = 50.0) {
  NextRun run;
  run.gear = Gear{gear};
  run.load = load;
  run.speed = Speed(kmh / 3.6);
  return run;
}

using Hypotheses = std::vector<Hypothesis>;

Hypotheses even_chances(std::initializer_list<std::pair<const char*, Fault>> faults) {
  Hypotheses hypotheses;
  for (const auto& [part, fault] : faults)
    hypotheses.push_back({part, fault, Probability(1.0 / static_cast<double>(faults.size()))});
  return hypotheses;
}

double drop(const Car& car, const Hypotheses& hypotheses, const std::vector<NextRun>& runs) {
  return expected_entropy_drop(car, hypotheses, runs);
}

const Hypotheses twins =
    even_chances({{"input_front", Fault::outer_race}, {"pinion_head", Fault::outer_race}});

}  // namespace

TEST_CASE(
    "two bearings that coincide in direct top are told apart in another gear, and the plan goes there") {
  const Car car = twin_car();
  CHECK(drop(car, twins, {run_in("4", Load::drive)}) < 0.02);
  CHECK(drop(car, twins, {run_in("3", Load::drive)}) > 0.3);
  const auto planned = plan(car, {{"input_front", "pinion_head"}, {}, {}});
  REQUIRE(planned);
  REQUIRE_FALSE(planned->runs.empty());
  for (const NextRun& run : planned->runs) {
    INFO(run.because);
    CHECK(run.gear.label != "4");
    CHECK_FALSE(run.because.empty());
  }
  CHECK(planned->alike.empty());
}

TEST_CASE("in neutral the same two follow the engine and the road, and do not coincide") {
  CHECK(drop(twin_car(), twins, {run_in("N", Load::neutral)}) >
        2.0 * drop(twin_car(), twins, {run_in("4", Load::drive)}));
  CHECK(drop(twin_car(), twins, {run_in("N", Load::neutral)}) > 0.02);
}

TEST_CASE("where two coincide, another load tells something, because it changes their loudness differently") {
  const Car car = twin_car();
  const double alone = drop(car, twins, {run_in("4", Load::drive)});
  CHECK(drop(car, twins, {run_in("4", Load::drive), run_in("4", Load::coast)}) > alone);
}

TEST_CASE("more runs never tell less, and no plan tells more than there is to know") {
  const Car car = twin_car();
  std::vector<NextRun> runs;
  double before = 0.0;
  for (const char* gear : {"1", "3", "4", "N"}) {
    runs.push_back(run_in(gear, gear == std::string("N") ? Load::neutral : Load::drive));
    const double now = drop(car, twins, runs);
    CHECK(now >= before - 1e-9);
    before = now;
  }
  CHECK(before <= std::log(2.0) + 1e-6);
}

TEST_CASE("the faults of one part are one answer: telling them apart is worth nothing") {
  const Hypotheses races =
      even_chances({{"pinion_head", Fault::outer_race}, {"pinion_head", Fault::inner_race}});
  CHECK(drop(twin_car(), races, {run_in("3", Load::drive)}) < 1e-3);
}

TEST_CASE("a tooth that comes round on the engine's half orders is not heard, one on the layshaft is") {
  const Car car = twin_car();
  const auto against_nothing = [&](const char* part) {
    return drop(car, {{part, Fault::chipped_tooth, Probability(0.5)}}, {run_in("3", Load::drive)});
  };
  CHECK(against_nothing("input_pair") < 1e-3);  // its gear of the input shaft turns with the engine
  CHECK(against_nothing("gear_3") > 0.2);
}

TEST_CASE("bearings of unknown size overlap over their whole range, and are told apart less well") {
  Car car = twin_car();
  const double exact = drop(car, twins, {run_in("3", Load::drive)});
  for (const char* id : {"input_front", "pinion_head"}) {
    auto& bearing =
        *std::find_if(car.bearings.begin(), car.bearings.end(), [&](const Bearing& b) { return b.id == id; });
    bearing.element_diameter.reset();
    bearing.pitch_diameter.reset();
  }
  const double counted = drop(car, twins, {run_in("3", Load::drive)});
  for (Bearing& bearing : car.bearings) bearing.count.reset();
  const double unknown = drop(car, twins, {run_in("3", Load::drive)});
  CHECK(counted < exact);
  CHECK(unknown < counted);
}

TEST_CASE("a belt's creep widens what its machine is mistaken for") {
  Car car = twin_car();
  car.bearings.push_back(ball_bearing("generator_front", "generator", 8, 6.75, 28.5));
  car.parts.push_back(
      {"generator_front", "generator bearing", PartRole::machine_bearing, Corner::none, "generator"});
  // Placed so that without creep it lies just above the layshaft bearing's line, with creep upon it.
  const auto rates = shaft_rates(car, {Gear{"3"}, Clutch::engaged});
  REQUIRE(rates);
  const double wanted = 1.03 * std::abs(rates->find("layshaft")->second.wheel) * 8 / 2.0 * (1.0 - 8.0 / 34.0);
  const double race = std::abs(rates->find("engine")->second.wheel) * 8 / 2.0 * (1.0 - 6.75 / 28.5);
  car.belts[0].ratio = wanted / race;
  const Hypotheses two =
      even_chances({{"generator_front", Fault::outer_race}, {"layshaft_front", Fault::outer_race}});
  car.belts[0].creep_high = 0.0;
  const double without = drop(car, two, {run_in("3", Load::drive)});
  car.belts[0].creep_high = 0.03;
  CHECK(drop(car, two, {run_in("3", Load::drive)}) < without);
}

TEST_CASE("every run keeps to the legal limit and to what the engine likes, at figures that a needle shows") {
  const Car car = twin_car();
  RunLimits limits;
  limits.unit = GENERATE(SpeedUnit::mph, SpeedUnit::kmh);
  limits.fastest = Speed(GENERATE(45.0, 33.0) * 0.44704);
  limits.turns_allowed = GENERATE(true, false);
  const double unit = limits.unit == SpeedUnit::mph ? 0.44704 : 1.0 / 3.6;
  for (const NextRun& run : feasible_runs(car, limits)) {
    INFO(run.gear.label << " " << run.speed.value() / unit);
    CHECK(run.speed <= limits.fastest);
    const double figure = run.speed.value() / unit;
    CHECK(std::abs(figure / 5.0 - std::round(figure / 5.0)) < 1e-6);
    if (!limits.turns_allowed) CHECK(run.turn == Turn::straight);
    if (run.gear.neutral()) continue;
    const auto ratio = overall_ratio(car, run.gear);
    REQUIRE(ratio);
    const double rpm = 60.0 * *ratio * run.speed.value() / car.tyre.rolling_circumference.value();
    CHECK(rpm >= limits.engine_low_rpm);
    CHECK(rpm <= limits.engine_high_rpm);
  }
}

TEST_CASE("a release bearing is listened to with the pedal down, where nothing else would show it") {
  Car car = twin_car();
  car.bearings.push_back(ball_bearing("release", "engine", 12, 6, 45));
  car.parts.push_back(
      {"release", "clutch release bearing", PartRole::release_bearing, Corner::none, "engine"});
  const auto planned = plan(car, {{"release", "pinion_head"}, {}, {}});
  REQUIRE(planned);
  CHECK(std::any_of(planned->runs.begin(), planned->runs.end(),
                    [](const NextRun& run) { return run.clutch == Clutch::pedal_down; }));
  CHECK(planned->unheard.empty());
}

TEST_CASE("a plan has at most five runs, no state twice, and says which parts stay alike") {
  const auto planned = plan(twin_car(), {});
  REQUIRE(planned);
  CHECK(planned->runs.size() <= 5);
  CHECK(planned->expected_drop <= planned->entropy + 1e-6);
  for (std::size_t i = 0; i < planned->runs.size(); ++i)
    for (std::size_t k = 0; k < i; ++k) {
      const NextRun &a = planned->runs[i], &b = planned->runs[k];
      CHECK_FALSE((a.gear == b.gear && a.load == b.load && a.turn == b.turn && a.clutch == b.clutch));
    }
  REQUIRE_FALSE(planned->cautions.empty());
  CHECK_THAT(planned->cautions.front(), Contains("can injure") && Contains("local law"));
}

TEST_CASE("a suspect that the car lacks gives one sentence with the nearest IDs") {
  const auto planned = plan(twin_car(), {{"pinion_haed"}, {}, {}});
  REQUIRE_FALSE(planned);
  CHECK(planned.error().kind == ErrorKind::usage);
  CHECK_THAT(planned.error().sentence, Contains("\"pinion_haed\"") && Contains("pinion_head"));
}
