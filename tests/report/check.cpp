// What `gearhark check` prints is what was measured.
#include "gearhark/report/check.hpp"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace gearhark;

namespace {

Recording phone_note() {
  Recording r;
  r.facts = {"noise.m4a", "M4A", "AAC", 2, 64'000.0, Seconds(4.0), "2 channels: their mean was used"};
  r.sample_rate = 48000.0;
  r.samples.resize(192'000);
  return r;
}

RecordingQuality middling() {
  RecordingQuality q;
  q.bandwidth = Hertz(13'950.0);
  q.level = Decibels::already(-23.4);
  q.clipped_share = 0.013;
  q.dropouts = 2;
  q.dropped = Seconds(0.25);
  q.bumps_per_minute = 15.0;
  q.usable = Seconds(3.5);
  q.stretches = {{Seconds(0.0), Seconds(2.0)}, {Seconds(2.5), Seconds(4.0)}};
  q.problems = {{"clipping", "1.30 % of the samples are at full scale.", "Put the phone further away.", true},
                {"dropouts", "The sound breaks off 2 times.", "Close other apps.", false}};
  return q;
}

}  // namespace

TEST_CASE("check says the format, each measurement, and what to do again") {
  const std::string text = check_text(phone_note(), middling());
  for (const char* words :
       {"noise.m4a", "M4A, AAC, 64 kb/s, 48 kHz, 2 channels, 4.0 s", "their mean was used",
        "13.9 kHz of 24 kHz", "-23.4 dB re full scale", "1.3 % of the samples", "2, 0.25 s together",
        "15.0 a minute", "3.5 s of 4.0 s, in 2 stretches", "seriously wrong", "! clipping: 1.30 %",
        "Put the phone further away.", "- dropouts"})
    CHECK_THAT(text, Catch::Contains(words));
}

TEST_CASE("check says so when nothing is wrong, and measures nothing in silence") {
  RecordingQuality good = middling();
  good.problems.clear();
  CHECK_THAT(check_text(phone_note(), good), Catch::Contains("Nothing wrong found"));
  const Recording silence = phone_note();
  const std::string text = check_text(silence, assess(silence));
  CHECK_THAT(text,
             Catch::Contains("silent") && Catch::Contains("0.0 s of 4.0 s") && !Catch::Contains("bandwidth"));
}

TEST_CASE("the JSON of check holds the same values") {
  const auto json = nlohmann::json::parse(check_json(phone_note(), middling()));
  CHECK(json["format"] == "gearhark check");
  CHECK(json["codec"] == "AAC");
  CHECK(json["sample_rate_hz"] == 48000.0);
  CHECK(json["bandwidth_hz"] == 13'950.0);
  CHECK(json["clipped_share"] == 0.013);
  CHECK(json["stretches"].size() == 2);
  CHECK(json["stretches"][1]["from_s"] == 2.5);
  CHECK(json["problems"][0]["what"] == "clipping");
  CHECK(json["problems"][0]["serious"] == true);
}

TEST_CASE("a file name that is not UTF-8 does not break the JSON") {
  Recording r = phone_note();
  r.facts.file = "no\xFFise.m4a";
  CHECK(nlohmann::json::accept(check_json(r, middling())));
}
