#include "gearhark/report/plan.hpp"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <sstream>

using namespace gearhark;
using Catch::Contains;
using nlohmann::json;

namespace {

Plan example() {
  Plan plan;
  plan.car_name = "Invented car";
  plan.suspects = {"pinion_head", "input_front"};
  plan.suspect_names = {"pinion head bearing", "input bearing"};
  plan.unit = SpeedUnit::mph;
  plan.entropy = 1.0;
  plan.expected_drop = 0.4;
  NextRun run{{"3"},       Load::coast, Turn::straight,         Speed(45 * 0.44704),
              Seconds(15), 0.4,         "Here they lie apart.", Clutch::engaged};
  plan.runs.push_back(run);
  run.gear = {"N"};
  run.clutch = Clutch::pedal_down;
  run.load = Load::neutral;
  plan.runs.push_back(run);
  plan.alike = {{"left tyre", "right tyre"}};
  plan.unheard = {"release bearing"};
  plan.cautions = {"A road test can injure."};
  plan.how_to_record = {"Windows shut."};
  return plan;
}

}  // namespace

TEST_CASE(
    "the card has the cautions before the advice, that before the runs, and room to write beside each") {
  const std::string text = plan_text(example());
  CHECK(text.starts_with("Invented car: road test\nSuspects: pinion head bearing; input bearing\n"));
  std::size_t at = 0;
  for (const char* words :
       {"Before you drive\n  - A road test can injure.", "How to record\n  - Windows shut.",
        "Runs\n  1  gear 3, 15 s: from 45 mph, foot off the throttle", "Here they lie apart.",
        "needle: start ______ end ______ mph",
        "  2  gear N, 15 s: from 45 mph, lever in neutral, clutch pedal down", "about 40 % of the question",
        "Hardly to be told apart by these runs: left tyre; right tyre",
        "Hardly to be heard in these runs: release bearing. Silence says nothing about it."}) {
    INFO(words);
    const auto next = text.find(words, at);
    REQUIRE(next != std::string::npos);
    at = next;
  }
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) CHECK(line.size() <= 96);
}

TEST_CASE("a plan without runs says so") {
  Plan plan = example();
  plan.runs.clear();
  CHECK_THAT(plan_text(plan), Contains("No run within these limits"));
}

TEST_CASE("the JSON of a plan holds the runs in SI units") {
  const json j = json::parse(plan_json(example()));
  CHECK(j["format"] == "gearhark plan");
  CHECK(j["runs"][0]["speed_mps"].get<double>() == Approx(20.1168));
  CHECK(j["runs"][0]["clutch"] == "engaged");
  CHECK(j["runs"][1]["clutch"] == "pedal down");
  CHECK(j["suspects"] == json({"pinion_head", "input_front"}));
  CHECK(j["unit"] == "mph");
  CHECK_FALSE(j.contains("car_file"));
}

TEST_CASE("the JSON of a plan carries the car's gears and file for the recorder") {
  Plan plan = example();
  plan.gears = {"1", "2", "N"};
  plan.car_file = "name = \"Invented\"\n";
  const json j = json::parse(plan_json(plan));
  CHECK(j["gears"] == json({"1", "2", "N"}));
  CHECK(j["car_file"] == plan.car_file);
}
