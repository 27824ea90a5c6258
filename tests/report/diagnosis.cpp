#include "gearhark/report/diagnosis.hpp"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <sstream>

#include "example.hpp"

using namespace gearhark;
using Catch::Contains;
using nlohmann::json;

namespace {

Diagnosis one_run() {
  Diagnosis d = example::diagnosis();
  d.runs.resize(1);
  d.runs[0].problems = {"1.3 % of the samples are at full scale. Put the phone further from the noise."};
  return d;
}

}  // namespace

TEST_CASE(
    "the text says the verdict first, then the ranking, why, the recordings, the next run and cautions") {
  const std::string text = diagnosis_text(one_run());
  CHECK(text.starts_with("Invented car: FAULT HEARD\n\nThe pinion head bearing is the likeliest source"));
  std::size_t at = 0;
  for (const char* heading : {"How likely\n", "Why\n", "Recordings\n", "What to record next\n", "Mind\n"}) {
    const auto next = text.find(heading, at);
    INFO(heading);
    REQUIRE(next != std::string::npos);
    at = next;
  }
  CHECK_THAT(
      text,
      Contains("pinion head bearing, outer race               80 %  ################################\n"));
  CHECK_THAT(text, Contains("<1 %"));
  CHECK_THAT(
      text,
      Contains(
          "\n    1   outer race, 1st harmonic                   271.4    25.250 wheel   9.2  1 in 33000\n"));
  CHECK_THAT(text, !Contains("2nd harmonic"));  // was not found
  CHECK_THAT(text, Contains("can't be told from: carrier_bearing_right, pinion head bearing"));
  CHECK_THAT(text,
             Contains("gear 3, drive, straight, 45 mph; 22 s usable; wheels 10.750 +- 0.020 turns/s: the\n"));
  CHECK_THAT(text, Contains("     needle reads 4.5 +- 0.3 % high\n"));
  CHECK_THAT(text, Contains("- 1.3 % of the samples are at full scale."));
  CHECK_THAT(text, Contains("Gear 4, float, left, 40 mph for 30 s. Here it is loud."));
}

TEST_CASE("no line of the text is wider than 96 columns") {
  Diagnosis d = one_run();
  d.suspects[0].in_words =
      "a long story of many short words that goes on and on and on, and on, and on, and on, "
      "until it must be broken several times over to fit the terminal of a small machine";
  d.suspects[0].name = std::string(120, 'n');
  d.cautions = {d.suspects[0].in_words};
  std::istringstream lines(diagnosis_text(d));
  bool name_seen = false;
  for (std::string line; std::getline(lines, line);) {
    name_seen = name_seen || line.find("nnn") != std::string::npos;
    if (line.find(std::string(90, 'n')) == std::string::npos) CHECK(line.size() <= 96);
  }
  CHECK(name_seen);
}

TEST_CASE("no unit or tolerance begins a line of the text, however the words fall") {
  Diagnosis d = one_run();
  std::size_t apart_else = 0;  // times that a number would have fitted on the line before its unit
  for (std::size_t length = 1; length <= 96; ++length) {
    d.runs[0].run.file = std::string(length, 'f');
    std::istringstream lines(diagnosis_text(d));
    std::string line, before;
    for (; std::getline(lines, line); before = line) {
      std::istringstream words(line);
      std::string first, second;
      words >> first >> second;
      INFO(before << "\n" << line);
      CHECK(first != "+-");
      CHECK(first != "s");
      CHECK(first != "turns/s:");
      CHECK(first != "mph;");
      CHECK(first != "%");
      if ((second == "mph;" || second == "s" || second == "+-") && before.size() + 1 + first.size() <= 96)
        ++apart_else;
    }
  }
  CHECK(apart_else > 10);
}

TEST_CASE("a speed that could not be found says so instead of a number") {
  Diagnosis d = one_run();
  d.runs[0].tracking.certainty = Certainty::lost;
  CHECK_THAT(diagnosis_text(d), Contains("the speed could not be found in"));
}

TEST_CASE("the JSON holds the diagnosis under the contract's keys") {
  const json j = json::parse(diagnosis_json(one_run()));
  CHECK(j["format"] == "gearhark diagnosis");
  CHECK(j["version"] == 1);
  CHECK(j["verdict"] == "fault heard");
  CHECK(j["suspects"][0]["part"] == "pinion_head_bearing");
  CHECK(j["suspects"][0]["fault"] == "outer race");
  CHECK(j["suspects"][0]["probability"] == 0.8);
  CHECK(j["suspects"][0]["cannot_be_told_from"].empty());
  const json& line = j["suspects"][0]["evidence"][0];
  CHECK(line["recording"] == 0);
  CHECK(line["kind"] == "outer race, 1st harmonic");
  CHECK(line["order"] == 25.25);
  CHECK(line["frequency_hz"] == 271.4);
  CHECK(line["above_background_db"] == 9.2);
  CHECK(line["chance"] == 3e-5);
  CHECK(j["no_fault_probability"] == 0.05);
  CHECK(j["unexplained_probability"] == 0.086);
  const json& run = j["recordings"][0];
  CHECK(run["file"] == "run1.m4a");
  CHECK(run["usable_s"] == 21.8);
  CHECK(run["mean_wheel_hz"] == 10.75);
  CHECK(run["mean_wheel_hz_sd"] == 0.02);
  CHECK(run["speed_scale"] == 0.957);
  CHECK(run["problems"].size() == 1);
  CHECK(j["next_run"]["gear"] == "4");
  double sum = j["no_fault_probability"].get<double>() + j["unexplained_probability"].get<double>();
  for (const auto& s : j["suspects"]) sum += s["probability"].get<double>();
  CHECK(sum == Approx(1.0));
}

TEST_CASE("a file name that is not UTF-8 still gives JSON") {
  Diagnosis d = one_run();
  d.runs[0].run.file = "caf\xe9.wav";
  CHECK_NOTHROW(json::parse(diagnosis_json(d)));
}
