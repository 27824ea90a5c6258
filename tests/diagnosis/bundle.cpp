#include "gearhark/diagnosis/bundle.hpp"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <random>

#include "../folder.hpp"
#include "../heron.hpp"
#include "../zip_file.hpp"
#include "gearhark/recording/recording.hpp"
#include "gearhark/units/files.hpp"

using namespace gearhark;
using test::wav_of;
using test::zip_of;
using test::ZipEntry;

namespace {

constexpr int rate = 8000;

std::vector<float> noise(double seconds) {
  std::mt19937 dice(7);
  std::normal_distribution<float> normal(0.0F, 0.1F);
  std::vector<float> out(static_cast<std::size_t>(seconds * rate));
  for (float& x : out) x = normal(dice);
  return out;
}

const std::string& half_a_minute() {
  static const std::string wav = wav_of(noise(30.0), rate);
  return wav;
}

// One piece of 30 s that begins at 0.5 s; third gear under power from 2 s to 28 s.
const std::string usual_taps =
    R"([{"time_s":2,"kind":"gear","value":"3"},{"time_s":2,"kind":"throttle","value":"drive"},)"
    R"({"time_s":28,"kind":"throttle","value":"coast"}])";
const std::string usual_sound =
    R"([{"file":"sound_1.wav","anchors":[{"frame":0,"time_s":0.5},{"frame":160000,"time_s":20.5}]}])";

std::string notes(const std::string& sound = usual_sound, const std::string& taps = usual_taps,
                  const std::string& more = "") {
  return R"({"format":"gearhark road-test bundle","version":1,"finished":true,"sound":)" + sound +
         ",\"taps\":" + taps + more + "}";
}

std::vector<ZipEntry> usual() {
  return {{"bundle.json", notes()},
          {"sound_1.wav", half_a_minute()},
          {"track.csv",
           "time_s,speed_m_s,speed_accuracy_m_s\n1,18,\n4,18.1,0.5\n8,18,\n12,18,\n16,18,\n20,18,\n24,18,"
           "\n28,18,\n"}};
}

std::string text_of_car() { return *text_of_file(test::heron_file, "the car"); }

// The sentence with which a bundle is refused, without the folder it lies in. Nothing may be left behind.
std::string refusal(const std::string& bytes) {
  const Folder folder;
  const auto bundle = load_bundle(folder.write("b.zip", bytes));
  CHECK(folder.files() == 1);
  if (bundle) return "";
  const std::string said = bundle.error().sentence;
  const auto at = said.find(folder / "");
  return at == std::string::npos ? said : said.substr(0, at) + said.substr(at + (folder / "").size());
}

std::string refusal_with(std::vector<ZipEntry> more) {
  auto all = usual();
  all.insert(all.end(), more.begin(), more.end());
  return refusal(zip_of(all));
}

std::string refusal_of_notes(const std::string& json) {
  auto all = usual();
  all[0].bytes = json;
  return refusal(zip_of(all));
}

}  // namespace

TEST_CASE("a bundle is read as a road test on the clock of its sound") {
  const Folder folder;
  auto entries = usual();
  entries.push_back({"car.toml", text_of_car()});
  const auto test = load_road_test(folder.write("b.zip", zip_of(entries)));
  REQUIRE(test);
  REQUIRE(test->runs.size() == 1);
  const Run& run = test->runs[0];
  CHECK(run.file == folder / "b.zip" + "/sound_1.wav");
  CHECK(run.gear.label == "3");
  CHECK(run.load == Load::drive);
  CHECK(run.turn == Turn::straight);
  // 2 s and 28 s of the clock are 1.5 s and 27.5 s of the sound; a second is left out at each end.
  CHECK(run.from->value() == Approx(2.5).margin(0.001));
  CHECK(run.to->value() == Approx(26.5).margin(0.001));
  CHECK(run.speed.source == SpeedSource::satellite);
  REQUIRE(run.speed.points.size() == 8);
  CHECK(run.speed.points[1].time.value() == Approx(3.5).margin(0.001));
  CHECK(run.speed.points[1].speed.value() == 18.1);
  const auto sound = load_parts(run.sound(), {{*run.from, run.to}}, run.file);
  REQUIRE(sound);
  CHECK(sound->front().samples.size() == 24 * rate);
  CHECK(sound->front().facts.file == run.file);
  CHECK(folder.files() == 1);
}

TEST_CASE("a bundle without a car asks for one") {
  const Folder folder;
  const auto test = load_road_test(folder.write("b.zip", zip_of(usual())));
  REQUIRE_FALSE(test);
  CHECK(test.error().sentence ==
        folder / "b.zip" + ": the bundle has no car.toml; name the car with --car CAR.toml");
}

TEST_CASE("the copy of a bundle's sound is gone with its last user") {
  const Folder folder;
  std::string path;
  {
    const auto bundle = load_bundle(folder.write("b.zip", zip_of(usual())));
    REQUIRE(bundle);
    path = *bundle->sounds[0].copy;
    CHECK(std::filesystem::file_size(path) == half_a_minute().size());
  }
  CHECK_FALSE(std::filesystem::exists(path));
}

TEST_CASE("names that are paths are refused whatever they look like") {
  for (const std::string name : {"../evil.wav", "/etc/passwd", "a/b.wav", "..\\evil.wav", "C:evil.wav", "..",
                                 ".hidden", "sound 2.wav", "folder/", "", "n\xC3\xA4me.wav", "a\nb"})
    CHECK_THAT(refusal_with({{name, "x"}}),
               Catch::StartsWith("b.zip: the entry \"") && Catch::Contains("is no plain file name"));
  CHECK_THAT(refusal_with({{std::string(70000 - 5000, 'a'), "x"}}),
             Catch::Contains("aaa...\" is no plain file name"));
}

TEST_CASE("links, doubles, strangers, archives and codes in a bundle are refused") {
  CHECK_THAT(refusal_with({{"sound_2.wav", "/etc/passwd", 0120777u << 16}}),
             Catch::Contains("the entry \"sound_2.wav\" is a link"));
  CHECK_THAT(refusal_with({{"BUNDLE.json", "{}"}}),
             Catch::Contains("the entry \"BUNDLE.json\" is there twice"));
  CHECK_THAT(refusal_with({{"inner.zip", zip_of(usual())}}),
             Catch::Contains("the entry \"inner.zip\" has no place in a road-test bundle"));
  CHECK_THAT(refusal_with({{"car.toml", "x", 0, 0, 1}}),
             Catch::Contains("the entry \"car.toml\" is encrypted"));
  CHECK_THAT(refusal_with({{"car.toml", "x", 0, 0, 0, 12}}),
             Catch::Contains("the entry \"car.toml\" is packed in a way that is not used here"));
  auto nested = usual();
  nested[1].bytes = zip_of(usual());
  CHECK_THAT(refusal(zip_of(nested)),
             Catch::Contains("the entry \"sound_1.wav\" is no WAV, WebM or Ogg sound"));
}

TEST_CASE("huge sizes and counts that are only said cost nothing") {
  auto lying = usual();
  lying[1].said_size = 0xF0000000u;
  CHECK_THAT(refusal(zip_of(lying)), Catch::StartsWith("b.zip: "));
  lying = usual();
  lying[0].said_size = 0x7FFFFFFFu;
  CHECK_THAT(refusal(zip_of(lying)), Catch::StartsWith("b.zip: "));
  CHECK_THAT(refusal(zip_of(usual(), 60000)), Catch::Contains("holds more than 500 entries"));
  std::vector<ZipEntry> thousands = usual();
  for (int i = 0; i < 3000; ++i) thousands.push_back({fmt::format("s{}.wav", i), ""});
  CHECK_THAT(refusal(zip_of(thousands)), Catch::Contains("holds more than 500 entries"));
}

TEST_CASE("a bundle that was cut off or damaged is refused at every length") {
  auto small = usual();
  small[1].bytes = wav_of(noise(0.05), rate);
  const std::string whole = zip_of(small);
  for (std::size_t length = 0; length < whole.size(); length += 61)
    CHECK(refusal(whole.substr(0, length)) != "");
  CHECK_THAT(refusal(whole.substr(0, whole.size() - 1)), Catch::Contains("is no whole zip file"));
  std::string damaged = whole;
  damaged[whole.find("RIFF") + 60] ^= 1;
  CHECK_THAT(refusal(damaged), Catch::Contains("the entry \"sound_1.wav\" is damaged or cut off"));
}

TEST_CASE("an entry is read no further than it may be long") {
  auto long_notes = usual();
  long_notes[0].bytes += std::string(5 << 20, ' ');
  CHECK(refusal(zip_of(long_notes)) ==
        "b.zip: the entry \"bundle.json\" is larger than the 4 MB that it may have; send it from the phone "
        "again");
}

TEST_CASE("what is missing in a bundle is named") {
  auto all = usual();
  all.erase(all.begin());
  CHECK_THAT(refusal(zip_of(all)), Catch::Contains("the entry \"bundle.json\" is missing"));
  all = usual();
  all.erase(all.begin() + 1);
  CHECK_THAT(refusal(zip_of(all)),
             Catch::Contains("the entry \"sound_1.wav\" is listed in bundle.json but not there"));
  CHECK_THAT(
      refusal_of_notes(notes(usual_sound.substr(0, usual_sound.size() - 1) + "," + usual_sound.substr(1))),
      Catch::Contains("the entry \"sound_1.wav\" is listed twice"));
}

TEST_CASE("notes that can't be used are refused with their place") {
  const auto sound = [](const std::string& anchors) {
    return notes(R"([{"file":"sound_1.wav","anchors":[)" + anchors + "]}]");
  };
  CHECK_THAT(refusal_of_notes("{\"format\":"),
             Catch::StartsWith("b.zip/bundle.json is no JSON from byte 11 on"));
  CHECK_THAT(refusal_of_notes(std::string(100000, '[')), Catch::Contains("is no JSON"));
  CHECK_THAT(refusal_of_notes("[]"), Catch::Contains("\"format\" is not \"gearhark road-test bundle\""));
  CHECK_THAT(refusal_of_notes(R"({"format":"gearhark road-test bundle","version":2})"),
             Catch::Contains("\"version\" is newer than this program knows"));
  CHECK_THAT(refusal_of_notes(sound(R"({"frame":0,"time_s":NaN})")), Catch::Contains("is no JSON"));
  CHECK_THAT(refusal_of_notes(sound(R"({"frame":0,"time_s":1e999})")), Catch::Contains("bundle.json"));
  CHECK_THAT(refusal_of_notes(sound(R"({"frame":0,"time_s":null})")),
             Catch::Contains("\"sound[0].anchors[0].time_s\" is null, expected a number"));
  CHECK_THAT(refusal_of_notes(sound(R"({"frame":0,"time_s":5},{"frame":8000,"time_s":4})")),
             Catch::Contains("\"sound[0].anchors[1].time_s\" is 4, expected not less than the 5.000"));
  CHECK_THAT(refusal_of_notes(sound(R"({"frame":8000,"time_s":5},{"frame":8000,"time_s":6})")),
             Catch::Contains("\"sound[0].anchors[1].frame\" is 8000, expected more than"));
  CHECK_THAT(refusal_of_notes(
                 sound(R"({"frame":0,"time_s":0},{"frame":8000,"time_s":0.5},{"frame":160000,"time_s":10})")),
             Catch::Contains("has 8000 samples a second, and its anchors"));
  CHECK_THAT(
      refusal_of_notes(notes(usual_sound, R"([{"time_s":1,"kind":"brake","value":""}])")),
      Catch::Contains("\"taps[0].kind\" is \"brake\", expected one of gear, throttle, road, run, end"));
  CHECK_THAT(refusal_of_notes(notes(usual_sound, R"([{"time_s":-1,"kind":"end"}])")),
             Catch::Contains("\"taps[0].time_s\" is -1"));
  CHECK_THAT(refusal_of_notes(
                 notes(usual_sound, usual_taps, R"(,"speeds_told":[{"from_s":1,"to_s":5,"speed":"fast"}])")),
             Catch::Contains("speeds_told:"));
  auto track = usual();
  track[2].bytes = "time_s,speed_m_s\n1,18\nnan,18\n";
  CHECK_THAT(refusal(zip_of(track)), Catch::StartsWith("b.zip/track.csv:3: expected a time in seconds"));
}
