// Road-test bundles on the command line.
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "../zip_file.hpp"
#include "gearhark/recording/recording.hpp"
#include "program.hpp"

using namespace gearhark;
using Catch::Contains;
using nlohmann::json;

namespace {

struct Told {
  const char *file, *gear, *load, *speed;
};
constexpr Told told[] = {{"run1.m4a", "3", "drive", "65 km/h"},
                         {"run2.m4a", "4", "drive", "71 km/h"},
                         {"run3.m4a", "3", "coast", "67 km/h"}};
const std::string sample = source_folder + "/samples/pinion_bearing/";

// The recordings of the sample one after the other, on a clock that begins 0.7 s before the sound and runs 60
// ppm apart from it, with the taps of somebody who sees each run begin and end.
std::string sample_bundle(bool with_car) {
  std::vector<float> sound;
  double rate = 0.0;
  json taps = json::array(), speeds = json::array(), anchors = json::array();
  const auto clock = [&] { return 0.7 + static_cast<double>(sound.size()) / rate * (1.0 + 60e-6); };
  for (const Told& run : told) {
    const auto recording = load_recording(sample + run.file);
    REQUIRE(recording);
    rate = recording->sample_rate;
    const double begins = clock();
    // Told a second early, so that the run proper begins with the recording.
    for (const auto& [kind, value] : {std::pair{"gear", run.gear}, std::pair{"throttle", run.load}})
      taps.push_back({{"time_s", begins - (sound.empty() ? 0.0 : 0.5)}, {"kind", kind}, {"value", value}});
    sound.insert(sound.end(), recording->samples.begin(), recording->samples.end());
    speeds.push_back({{"from_s", begins}, {"to_s", clock()}, {"speed", run.speed}});
  }
  for (std::size_t frame = 0; frame < sound.size(); frame += static_cast<std::size_t>(rate))
    anchors.push_back(
        {{"frame", frame}, {"time_s", 0.7 + static_cast<double>(frame) / rate * (1.0 + 60e-6)}});
  const json notes{
      {"format", "gearhark road-test bundle"},
      {"version", 1},
      {"started", "2026-11-26T17:44:03Z"},
      {"finished", true},
      {"sound", {{{"file", "sound_1.wav"}, {"anchors", anchors}}}},
      {"taps", taps},
      {"speeds_told", speeds},
      {"phone", {{"asked", {{"autoGainControl", false}}}, {"granted", {{"autoGainControl", true}}}}}};
  std::vector<test::ZipEntry> entries{{"bundle.json", notes.dump()},
                                      {"sound_1.wav", test::wav_of(sound, static_cast<int>(rate))}};
  if (with_car) entries.push_back({"car.toml", contents(heron)});
  return test::zip_of(entries);
}

json diagnosis(const std::string& words) {
  const Ran ran = gearhark_run("diagnose --json - " + words);
  INFO(ran.complaint);
  REQUIRE(ran.code == 0);
  CHECK(schema_complaint("diagnosis", ran.out).empty());
  return json::parse(ran.out);
}

void check_same(const json& one, const json& other) {
  CHECK(one["verdict"] == other["verdict"]);
  REQUIRE_FALSE(one["suspects"].empty());
  CHECK(one["suspects"][0]["part"] == other["suspects"][0]["part"]);
  CHECK(one["suspects"][0]["fault"] == other["suspects"][0]["fault"]);
  CHECK(one["suspects"][0]["probability"].get<double>() ==
        Approx(other["suspects"][0]["probability"].get<double>()).margin(0.05));
  REQUIRE(one["recordings"].size() == other["recordings"].size());
  for (std::size_t i = 0; i < one["recordings"].size(); ++i)
    CHECK(one["recordings"][i]["mean_wheel_hz"].get<double>() ==
          Approx(other["recordings"][i]["mean_wheel_hz"].get<double>()).epsilon(0.002));
}

}  // namespace

TEST_CASE("a bundle gets the verdict of the road test it holds, and so does what it is unpacked to") {
  const Folder folder;
  const std::string bundle = folder.write("road_test.zip", sample_bundle(true));
  const json from_bundle = diagnosis(bundle);
  CHECK(from_bundle["verdict"] == "fault heard");
  check_same(from_bundle, diagnosis(sample + "ROADTEST.toml"));
  CHECK(from_bundle["recordings"][1]["file"] == bundle + "/sound_1.wav");
  std::filesystem::create_directory(folder / "out");
  const Ran unpacked = gearhark_run("unpack " + bundle + " " + (folder / "out"));
  REQUIRE(unpacked.code == 0);
  CHECK_THAT(unpacked.out, Catch::StartsWith("3 runs in "));
  check_same(diagnosis(folder / "out/ROADTEST.toml"), from_bundle);
  const Ran again = gearhark_run("unpack " + bundle + " " + (folder / "out"));
  CHECK(again.code == 1);
  CHECK(again.one_sentence());
}

TEST_CASE("a bundle without a car takes one from the command line, a road-test file none") {
  const Folder folder;
  const std::string bundle = folder.write("road_test.zip", sample_bundle(false));
  const Ran none = gearhark_run("diagnose " + bundle);
  CHECK(none.code == 1);
  CHECK(none.one_sentence());
  CHECK_THAT(none.complaint, Contains("name the car with --car"));
  const Ran text = gearhark_run("diagnose --car " + heron + " " + bundle);
  CHECK(text.code == 0);
  CHECK_THAT(text.out, Contains("FAULT HEARD") && Contains("sound_1.wav, from 0:23"));
  CHECK(gearhark_run("diagnose --car " + heron + " --gear 3 " + bundle).code == 2);
  CHECK(gearhark_run("diagnose --car " + heron + " " + sample + "ROADTEST.toml").code == 2);
  CHECK(gearhark_run("check --gear 3 " + bundle).code == 2);
}

TEST_CASE("a check of a bundle says clock, phone and each run, and as JSON fits its schema") {
  const Folder folder;
  const std::string bundle = folder.write("road_test.zip", sample_bundle(true));
  const Ran text = gearhark_run("check " + bundle);
  CHECK(text.code == 0);
  CHECK_THAT(text.out, Contains("60 ppm slow") && Contains("autoGainControl: ON, asked to be off") &&
                           Contains("Run 3, gear 3, coast, straight"));
  const Ran machine = gearhark_run("check --json - " + bundle);
  CHECK(schema_complaint("bundle_check", machine.out).empty());
  const json said = json::parse(machine.out);
  REQUIRE(said["runs"].size() == 3);
  CHECK(schema_complaint("check", said["runs"][0].dump()).empty());
  CHECK(said["sounds"][0]["stretches"][0]["drift_ppm"].get<double>() == Approx(-60.0).margin(2.0));
}

TEST_CASE("a hostile bundle ends in one sentence for every command that takes it") {
  const Folder folder;
  const std::string bundle =
      folder.write("road_test.zip", test::zip_of({{"bundle.json", "{}"}, {"../../escaped", "x"}}));
  const std::string compare = "compare " + sample + "ROADTEST.toml ";
  for (const std::string& words :
       std::vector<std::string>{"diagnose ", "check ", "confirm --suspect a ", "listen --out x.wav ",
                                "decide --prices p.toml ", compare}) {
    const Ran ran = gearhark_run(words + bundle);
    INFO(words << ran.complaint);
    CHECK(ran.code == 1);
    CHECK(ran.one_sentence());
    CHECK_THAT(ran.complaint, Contains("the entry \"../../escaped\" is no plain file name"));
  }
  CHECK(folder.files() == 1);
}

TEST_CASE("what unpacks to more than it may is read no further") {
  const Folder folder;
  const std::string bundle = folder / "bomb.zip";
  const std::string script =
      "import sys,zipfile\n"
      "z=zipfile.ZipFile(sys.argv[1],'w',zipfile.ZIP_DEFLATED)\n"
      "z.writestr('bundle.json',bytes(64<<20))\n"
      "z.close()\n";
  REQUIRE(std::system(("python3 " + folder.write("bomb.py", script) + " " + bundle).c_str()) == 0);
  CHECK(std::filesystem::file_size(bundle) < 100000);
  const Ran ran = gearhark_run("diagnose " + bundle);
  CHECK(ran.code == 1);
  CHECK(ran.one_sentence());
  CHECK_THAT(ran.complaint, Contains("the entry \"bundle.json\" is larger than the 4 MB that it may have"));
}
