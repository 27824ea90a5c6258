// The verdicts on the samples are those of tests/golden/verdicts.json. Where one moves on purpose, mint them
// anew.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <set>

#include "gearhark/diagnosis/conformance.hpp"
#include "program.hpp"

using namespace gearhark;
using nlohmann::json;

namespace {

json manifest() { return json::parse(contents(source_folder + "/tests/golden/verdicts.json")); }

const std::set<std::string> tested{"healthy", "pinion_bearing", "pinion_repaired", "wheel_bearing",
                                   "worn_gears"};

void is_as_minted(const std::string& sample) {
  REQUIRE(tested.contains(sample));
  const json golden = manifest()["samples"][sample];
  const Ran ran =
      gearhark_run("diagnose " + source_folder + "/samples/" + sample + "/ROADTEST.toml --json -");
  REQUIRE(ran.code == 0);
  const json diagnosis = json::parse(ran.out), first = diagnosis["suspects"][0], said = golden["said"];
  CHECK(diagnosis["conformance"] == conformance);
  CHECK(diagnosis["verdict"] == said["verdict"]);
  CHECK(first["part"] == said["part"]);
  CHECK(first["fault"] == said["fault"]);
  CHECK(first["probability"].get<double>() == Approx(said["probability"].get<double>()).margin(0.02));
  // And it is right.
  if (golden["put_in"] == "")
    CHECK(said["verdict"] == "no fault heard");
  else
    CHECK(said["part"] == golden["put_in"]);
}

}  // namespace

TEST_CASE("the golden verdict on the healthy sample stands") { is_as_minted("healthy"); }
TEST_CASE("the golden verdict on the pinion bearing sample stands") { is_as_minted("pinion_bearing"); }
TEST_CASE("the golden verdict on the repaired sample stands") { is_as_minted("pinion_repaired"); }
TEST_CASE("the golden verdict on the wheel bearing sample stands") { is_as_minted("wheel_bearing"); }
TEST_CASE("the golden verdict on the worn gears sample stands") { is_as_minted("worn_gears"); }

TEST_CASE("every golden verdict is tested, and the program carries the newest conformance number") {
  const json golden = manifest();
  std::set<std::string> listed;
  for (const auto& [sample, verdict] : golden["samples"].items()) listed.insert(sample);
  CHECK(listed == tested);
  CHECK(golden["history"][0]["conformance"] == conformance);
  for (const json& step : golden["history"]) CHECK_FALSE(step["reason"].get<std::string>().empty());
}
