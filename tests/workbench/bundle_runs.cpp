#include "../../src/workbench/bundle_runs.hpp"

#include <catch2/catch.hpp>

namespace gearhark::workbench {
namespace {

std::string recording(const std::string& lines) { return "car = \"car.toml\"\n[[recording]]\n" + lines; }

TEST_CASE("the runs of a bundle are those of the road-test file that it was made into") {
  const auto runs = bundle_runs(
      recording("file = \"sound_1.wav\"\ngear = \"3\"\nload = \"coast\"\nturn = \"left\"\n"
                "from = \"1.5\"\nto = \"12.5\"\nspeed = \"65.0 km/h\"\nspeed_source = \"needle\"\n"
                "[[recording]]\nfile = \"sound_2.wav\"\ngear = 4\nspeed_file = \"speed_2.csv\"\n"
                "recording_starts = \"0:00\"\n"));
  REQUIRE(runs);
  REQUIRE(runs->size() == 2);
  const RunNotes& first = (*runs)[0].notes;
  CHECK((*runs)[0].sound == "sound_1.wav");
  CHECK(first.gear + first.load + first.turn + first.clutch == "3coastleftengaged");
  CHECK(first.from + " " + first.to + " " + first.speed + " " + first.speed_kind ==
        "1.5 12.5 65.0 km/h needle");
  const RunNotes& second = (*runs)[1].notes;
  CHECK(second.gear == "4");
  CHECK(second.speed_kind == "log");
  CHECK(second.speed == "0:00");
  CHECK((*runs)[1].log == "speed_2.csv");
}

TEST_CASE("a file that lies elsewhere, or text that is no road test, gives no runs") {
  for (const char* name : {"../sound.wav", "/etc/passwd", "a/b.wav", ".hidden", "", "a\\nb"})
    CHECK_FALSE(bundle_runs(recording("file = \"" + std::string(name) + "\"\n")));
  CHECK_FALSE(bundle_runs(recording("file = \"a.wav\"\nspeed_file = \"../a.csv\"\n")));
  CHECK_FALSE(bundle_runs("recording = [1]"));
  CHECK_FALSE(bundle_runs("no toml ["));
  CHECK(bundle_runs("car = \"a\"")->empty());
}

TEST_CASE("a bundle is known by its first bytes") {
  CHECK(looks_like_bundle("PK\x03\x04 and so on"));
  CHECK_FALSE(looks_like_bundle("PK"));
  CHECK_FALSE(looks_like_bundle("RIFF"));
}

}  // namespace
}  // namespace gearhark::workbench
