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
  const auto sound = load_sound(run.sound(), {*run.from, run.to}, {}, run.file);
  REQUIRE(sound);
  CHECK(sound->recording.samples.size() == 24 * rate);
  CHECK(sound->recording.facts.file == run.file);
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
  CHECK_THAT(refusal_of_notes(notes(usual_sound, R"([{"time_s":1,"kind":"brake","value":""}])")),
             Catch::Contains(
                 "\"taps[0].kind\" is \"brake\", expected one of gear, throttle, road, clutch, run, end"));
  CHECK_THAT(refusal_of_notes(notes(usual_sound, R"([{"time_s":-1,"kind":"end"}])")),
             Catch::Contains("\"taps[0].time_s\" is -1"));
  CHECK_THAT(refusal_of_notes(
                 notes(usual_sound, usual_taps, R"(,"speeds_told":[{"from_s":1,"to_s":5,"speed":"fast"}])")),
             Catch::Contains("speeds_told:"));
  auto track = usual();
  track[2].bytes = "time_s,speed_m_s\n1,18\nnan,18\n";
  CHECK_THAT(refusal(zip_of(track)), Catch::StartsWith("b.zip/track.csv:3: expected a time in seconds"));
}

namespace {

// Anchors once a second, each late by up to `late_s`.
std::vector<ClockAnchor> anchors_of(double seconds, double true_rate, double starts_s,
                                    double late_s = 0.005) {
  std::mt19937 dice(3);
  std::uniform_real_distribution<double> late(0.0, late_s);
  std::vector<ClockAnchor> out;
  for (double t = 0.0; t <= seconds; t += 1.0)
    out.push_back({std::round(t * true_rate), Seconds(starts_s + t + late(dice))});
  return out;
}

double worst_of(const std::vector<ClockStretch>& clock, double true_rate, double starts_s) {
  double worst = 0.0;
  for (double t = 0.0; t <= clock.back().to.value() - starts_s; t += 1.0)
    worst = std::max(worst, std::abs(clock[0].frame_at(Seconds(starts_s + t)) / true_rate - t));
  return worst;
}

Bundle bundle_of(std::vector<ClockStretch> clock, std::vector<BundleTap> taps) {
  Bundle out;
  out.file = "b.zip";
  out.sounds = {{"sound_1.wav", nullptr, 8000.0, 8e6, std::move(clock)}};
  out.notes.taps = std::move(taps);
  for (std::size_t i = 1; i < out.sounds[0].clock.size(); ++i)
    out.gaps.push_back({out.sounds[0].clock[i - 1].to, out.sounds[0].clock[i].from});
  return out;
}

ClockStretch steady(double from, double to, double first_frame = 0.0) {
  return {first_frame, first_frame + 8000.0 * (to - from), Seconds(from), Seconds(to), 8000.0, 0.0, 0.0};
}

BundleTap gear(double at, const std::string& label) { return {Seconds(at), TapKind::gear, label}; }
BundleTap throttle(double at, const std::string& load) { return {Seconds(at), TapKind::throttle, load}; }

}  // namespace

TEST_CASE("the clock of a piece follows its drift over an hour") {
  for (const double ppm : {-150.0, 0.0, 20.0, 400.0}) {
    const double true_rate = 48000.0 * (1.0 + 1e-6 * ppm);
    const auto clock = clock_of(anchors_of(3600.0, true_rate, 0.7), 48000.0, 3600.0 * true_rate);
    REQUIRE(clock.size() == 1);
    CHECK(clock[0].drift_ppm == Approx(ppm).margin(2.0));
    CHECK(worst_of(clock, true_rate, 0.7) < 0.01);
  }
}

TEST_CASE("anchors that come late from a busy page do not move the clock") {
  auto anchors = anchors_of(120.0, 48000.0, 0.5);
  for (const std::size_t i : {3u, 40u, 41u, 80u}) anchors[i].time += Seconds(0.4);
  // Five seconds of messages that wait and are all answered at once.
  for (std::size_t i = 60; i < 65; ++i) anchors[i].time = anchors[65].time;
  const auto clock = clock_of(anchors, 48000.0, 120.0 * 48000.0);
  REQUIRE(clock.size() == 1);
  CHECK(worst_of(clock, 48000.0, 0.5) < 0.01);
}

TEST_CASE("where the clock runs on without sound there is a gap") {
  for (const double lost : {0.05, 0.3, 20.0}) {
    auto anchors = anchors_of(120.0, 48000.0, 0.5);
    for (std::size_t i = 50; i < anchors.size(); ++i) anchors[i].time += Seconds(lost);
    const auto clock = clock_of(anchors, 48000.0, 120.0 * 48000.0);
    REQUIRE(clock.size() == 2);
    CHECK(clock[0].end_frame == 49 * 48000.0);
    CHECK(clock[1].first_frame == 50 * 48000.0);
    CHECK((clock[1].from - clock[0].to).value() == Approx(1.0 + lost).margin(0.006));
  }
  // As the page tells it: the last frame before and the first one after.
  auto anchors = anchors_of(60.0, 48000.0, 0.5);
  anchors.insert(anchors.begin() + 30, {29.5 * 48000.0, Seconds(30.0)});
  anchors.insert(anchors.begin() + 31, {29.5 * 48000.0 + 1, Seconds(30.2)});
  for (std::size_t i = 32; i < anchors.size(); ++i) anchors[i].time += Seconds(0.2);
  const auto clock = clock_of(anchors, 48000.0, 60.0 * 48000.0);
  REQUIRE(clock.size() == 2);
  CHECK((clock[1].from - clock[0].to).value() == Approx(0.2).margin(0.01));
}

TEST_CASE("clicks in the sound and a step of the speed meet on one clock within 50 ms") {
  // A click at every fifth second of the clock, in a sound that runs 200 ppm fast and started 3.21 s late,
  // with a gap.
  const double true_rate = rate * (1.0 + 200e-6), starts = 3.21, lost_at = 150.0, lost = 0.7;
  const auto frame_of = [&](double time) {
    return (time - starts - std::clamp(time - lost_at, 0.0, lost)) * true_rate;
  };
  std::vector<float> samples(static_cast<std::size_t>(frame_of(300.0)), 0.0F);
  for (double t = 5.0; t < 300.0; t += 5.0) samples[static_cast<std::size_t>(frame_of(t))] = 0.9F;
  std::mt19937 dice(5);
  std::uniform_real_distribution<double> late(0.0, 0.02);
  std::string anchors;
  for (double t = starts; t < 300.0; t += 1.0)
    anchors += fmt::format("{}{{\"frame\":{:.0f},\"time_s\":{:.4f}}}", anchors.empty() ? "" : ",",
                           frame_of(t), t + late(dice));
  std::string track = "time_s,speed_m_s\n";
  const double step_at = 215.0;
  for (double t = 1.0; t < 300.0; t += 1.0) track += fmt::format("{},{}\n", t, t < step_at ? 15 : 25);
  const std::string taps =
      R"([{"time_s":10,"kind":"gear","value":"3"},{"time_s":10,"kind":"throttle","value":"drive"},)"
      R"({"time_s":200,"kind":"throttle","value":"float"}])";
  const Folder folder;
  const auto test = load_road_test(folder.write(
      "b.zip",
      zip_of({{"bundle.json", notes(R"([{"file":"sound_1.wav","anchors":[)" + anchors + "]}]", taps)},
              {"sound_1.wav", wav_of(samples, rate)},
              {"track.csv", track},
              {"car.toml", text_of_car()}})));
  REQUIRE(test);
  REQUIRE(test->runs.size() == 3);
  const std::vector<double> begins{11.0, 151.0, 201.0};
  for (std::size_t i = 0; i < 3; ++i) {
    const Run& run = test->runs[i];
    const auto sound =
        load_sound(run.sound(), {*run.from, run.to}, {Seconds(3600.0), Seconds(50.0)}, run.file);
    REQUIRE(sound);
    // Every click of the run is where the clock says.
    int clicks = 0;
    for (std::size_t n = 0; n < sound->recording.samples.size(); ++n) {
      if (sound->recording.samples[n] < 0.5F) continue;
      const double in_file = run.from->value() + static_cast<double>(n) / rate;
      // The fixes come once a second, so the clock can be read off them: each lies at a whole second of it.
      double off = 1.0;
      for (const SpeedPoint& point : run.speed.points)
        off = std::min(off, std::abs(point.time.value() - in_file));
      CHECK(off < 0.05);
      ++clicks;
    }
    CHECK(clicks >= 9);
    // The run begins when it should, by the clicks too: on the true clock.
    const double expected = frame_of(i == 1 ? 151.0 : begins[i]) / rate;
    CHECK(run.from->value() == Approx(expected).margin(i == 1 ? 1.0 : 0.05));
  }
  // The step lies between the last slow fix and the first fast one.
  const auto& points = test->runs[2].speed.points;
  const auto fast =
      std::find_if(points.begin(), points.end(), [](const SpeedPoint& p) { return p.speed.value() > 20.0; });
  REQUIRE(fast != points.end());
  CHECK(fast->time.value() == Approx(frame_of(step_at) / rate).margin(0.05));
  // Nothing was taken across the gap.
  CHECK(test->runs[0].to->value() <= frame_of(lost_at) / rate + 0.05);
  CHECK(test->runs[1].from->value() >= frame_of(lost_at) / rate - 0.05);
}

TEST_CASE("runs lie between changes, settled, and what is too short is said") {
  const auto found =
      runs_of(bundle_of({steady(0.0, 100.0)}, {gear(2, "3"), throttle(3, "drive"), throttle(23, "float"),
                                               throttle(27, "coast"), gear(47, "4"), gear(60, "N")}));
  REQUIRE(found.runs.size() == 4);
  CHECK(found.runs[0].from->value() == Approx(4.0));
  CHECK(found.runs[0].to->value() == Approx(22.0));
  CHECK(found.runs[1].load == Load::coast);
  CHECK(found.runs[2].gear.label == "4");
  CHECK(found.runs[3].gear.label == "N");
  CHECK(found.runs[3].load == Load::neutral);
  CHECK(found.runs[3].speed.source == SpeedSource::range);
  REQUIRE(found.left_out.size() == 1);
  CHECK(found.left_out[0] ==
        "0:24 to 0:26 (gear 3, float, straight) is not used: 2.0 s once settled, and 5 s are needed");
}

TEST_CASE("a tap that says nothing new does not end a run") {
  const auto found =
      runs_of(bundle_of({steady(0.0, 40.0)}, {gear(2, "3"), throttle(2, "drive"), gear(20, "3")}));
  REQUIRE(found.runs.size() == 1);
  CHECK(found.runs[0].to->value() == Approx(39.0));
}

TEST_CASE("where the plan's runs were marked nothing else is used, nor what was spoilt") {
  const auto run = [](double at) { return BundleTap{Seconds(at), TapKind::run, "1"}; };
  const auto end = [](double at, const std::string& how = "") {
    return BundleTap{Seconds(at), TapKind::end, how};
  };
  const auto found =
      runs_of(bundle_of({steady(0.0, 200.0)}, {gear(2, "3"), throttle(2, "drive"), run(10), end(30), run(50),
                                               end(65, "spoilt"), run(80), end(95)}));
  REQUIRE(found.runs.size() == 2);
  CHECK(found.runs[0].from->value() == Approx(11.0));
  CHECK(found.runs[0].to->value() == Approx(30.0));
  CHECK(found.runs[1].from->value() == Approx(81.0));
  REQUIRE(found.left_out.size() == 1);
  CHECK_THAT(found.left_out[0], Catch::Contains("marked as spoilt"));
}

TEST_CASE("a run never spans a gap, and after a long one gear and throttle must be told again") {
  const auto brief = runs_of(
      bundle_of({steady(0.0, 20.0), steady(21.0, 50.0, 160000.0)}, {gear(2, "3"), throttle(2, "drive")}));
  REQUIRE(brief.runs.size() == 2);
  CHECK(brief.runs[0].to->value() == Approx(20.0));
  CHECK(brief.runs[1].from->value() == Approx(20.0));
  const auto longer =
      runs_of(bundle_of({steady(0.0, 20.0), steady(80.0, 120.0, 160000.0)},
                        {gear(2, "3"), throttle(2, "drive"), gear(100, "3"), throttle(100, "coast")}));
  REQUIRE(longer.runs.size() == 2);
  CHECK(longer.runs[1].load == Load::coast);
  CHECK(longer.runs[1].from->value() == Approx(20.0 + 21.0));
  REQUIRE(longer.left_out.size() == 1);
  CHECK_THAT(longer.left_out[0], Catch::StartsWith("From 0:20 to 1:20 there is no sound"));
}

TEST_CASE("what is not known makes no run") {
  CHECK(runs_of(bundle_of({steady(0.0, 50.0)}, {gear(2, "3")})).runs.empty());
  CHECK(runs_of(bundle_of({steady(0.0, 50.0)}, {throttle(2, "drive")})).runs.empty());
  CHECK(runs_of(bundle_of({steady(0.0, 50.0)}, {gear(2, "3"), throttle(2, "drive"), gear(3, "")}))
            .runs.empty());
  const auto pedal =
      runs_of(bundle_of({steady(0.0, 50.0)}, {gear(2, "3"), {Seconds(2), TapKind::clutch, "pedal down"}}));
  REQUIRE(pedal.runs.size() == 1);
  CHECK(pedal.runs[0].clutch == Clutch::pedal_down);
  CHECK(pedal.runs[0].load == Load::neutral);
}

TEST_CASE("the needle is believed where there is no track") {
  auto bundle = bundle_of({steady(10.0, 60.0)}, {gear(12, "3"), throttle(12, "drive")});
  auto sweep = parse_stated_speed("30 mph to 50 mph");
  REQUIRE(sweep);
  bundle.notes = *read_bundle_notes(
      R"({"format":"gearhark road-test bundle","version":1,"sound":[{"file":"sound_1.wav","anchors":[]}],"taps":[)"
      R"({"time_s":12,"kind":"gear","value":"3"},{"time_s":12,"kind":"throttle","value":"drive"}],)"
      R"("speeds_told":[{"from_s":0,"to_s":15,"speed":"20 mph"},{"from_s":15,"to_s":55,"speed":"30 mph to 50 mph"}]})",
      "x");
  const auto found = runs_of(bundle);
  REQUIRE(found.runs.size() == 1);
  const StatedSpeed& speed = found.runs[0].speed;
  CHECK(speed.source == SpeedSource::needle);
  CHECK(speed.unit == SpeedUnit::mph);
  REQUIRE(speed.points.size() == 2);
  CHECK(speed.points[0].time.value() == Approx(5.0));
  CHECK(speed.points[1].time.value() == Approx(45.0));
}
