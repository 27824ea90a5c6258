#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "program.hpp"

using namespace gearhark;
using Catch::Contains;
using nlohmann::json;

TEST_CASE("plan prints a card in the unit asked for, and JSON that fits its schema") {
  const std::string words =
      "plan " + heron + " --suspect pinion_head_bearing,input_bearing_front --fastest 45mph";
  const Ran card = gearhark_run(words);
  INFO(card.complaint);
  CHECK(card.code == 0);
  CHECK_THAT(card.out, Contains("Before you drive") && Contains(" mph") && !Contains("km/h"));
  const Ran machine = gearhark_run(words + " --json -");
  CHECK(schema_complaint("plan", machine.out) == "");
  const json j = json::parse(machine.out);
  REQUIRE_FALSE(j["runs"].empty());
  for (const auto& run : j["runs"]) CHECK(run["speed_mps"].get<double>() <= 45 * 0.44704 + 1e-9);
}

TEST_CASE("plan without bends has none, and km/h is the unit when nothing says otherwise") {
  const Ran card = gearhark_run("plan " + heron + " --no-bends");
  CHECK(card.code == 0);
  CHECK_THAT(card.out, Contains("km/h") && !Contains("bend, ") && !Contains("in a gentle"));
}

TEST_CASE("plan says in one sentence what is wrong with a suspect, a speed or a unit") {
  const auto refused = [](const std::string& words, int code, const std::string& says) {
    const Ran ran = gearhark_run("plan " + words);
    INFO(words << "\n" << ran.complaint);
    CHECK(ran.code == code);
    CHECK(ran.one_sentence());
    CHECK_THAT(ran.complaint, Contains(says));
  };
  refused(heron + " --suspect pinion_haed_bearing", 2, "pinion_head_bearing");
  refused(heron + " --fastest 45", 2, "--fastest");
  refused(heron + " --fastest 5mph", 2, "not between");
  refused(heron + " --unit furlongs", 2, "--unit");
  refused("none.toml", 1, "none.toml");
}
