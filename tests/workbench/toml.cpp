#include <toml++/toml.h>

#include <catch2/catch.hpp>

#include "../../src/workbench/road_test_text.hpp"

namespace gearhark::workbench {
namespace {

std::string there_and_back(const std::string& text) {
  return toml::parse("key = " + toml_string(text))["key"].value_or(std::string("lost"));
}

TEST_CASE("a text of the page stays one string of the road-test file, whatever is in it") {
  for (const std::string text : {"65 km/h", "\" \nfile = \"/etc/passwd", "\\", "\\\"", "tab\tand\x01",
                                 "ünïcode", "", "'''", "\x7f", "# no remark"})
    CHECK(there_and_back(text) == text);
}

TEST_CASE("a recording's notes become one table of the road-test file") {
  RunNotes notes;
  notes.gear = "3";
  notes.load = "drive";
  notes.speed = "45 mph";
  notes.from = "0:05";
  const toml::table read = toml::parse(recording_text(notes, "run1", ".m4a"));
  const toml::table& run = *read["recording"].as_array()->front().as_table();
  CHECK(run["file"].value_or(std::string()) == "run1.m4a");
  CHECK(run["speed"].value_or(std::string()) == "45 mph");
  CHECK(run["speed_source"].value_or(std::string()) == "needle");
  CHECK(run["from"].value_or(std::string()) == "0:05");
  CHECK_FALSE(run.contains("to"));
}

TEST_CASE("each kind of speed has its own key of the road-test file") {
  RunNotes notes;
  notes.speed = "2500 rpm";
  for (const auto& [kind, key] : {std::pair{"between", "speed_between"},
                                  {"engine", "engine_speed"},
                                  {"bench", "shaft_rate"},
                                  {"satellite", "speed"}}) {
    notes.speed_kind = kind;
    CHECK(recording_text(notes, "x", ".wav").find(std::string("\n") + key + " = \"2500 rpm\"") !=
          std::string::npos);
  }
}

TEST_CASE("a speed log stands beside its recording") {
  RunNotes notes;
  notes.gear = "3";
  notes.load = "drive";
  notes.speed_kind = "log";
  CHECK(missing(notes) == "send the speed log");
  notes.log = ".gpx";
  CHECK_FALSE(missing(notes));
  const toml::table read = toml::parse(recording_text(notes, "run2", ".m4a"));
  const toml::table& run = *read["recording"].as_array()->front().as_table();
  CHECK(run["file"].value_or(std::string()) == "run2.m4a");
  CHECK(run["speed_file"].value_or(std::string()) == "run2.gpx");
  CHECK_FALSE(run.contains("recording_starts"));
}

TEST_CASE("what is missing of a recording is said, neutral needs no throttle") {
  RunNotes notes;
  CHECK(missing(notes) == "say which gear it was in");
  notes.gear = "3";
  CHECK(missing(notes) == "say what the throttle did");
  notes.gear = "N";
  CHECK(missing(notes) == "say how fast it went");
  notes.speed = "45 mph";
  CHECK_FALSE(missing(notes));
}

}  // namespace
}  // namespace gearhark::workbench
