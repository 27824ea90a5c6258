// A road-test bundle: one zip file with the sound, the speed and the taps of a road test on one clock, as the
// recorder page writes it (src/diagnosis/BUNDLE.md has the format).
//
//   bundle.json -> BundleNotes -> clock of each piece of sound -> stretches between taps -> runs of a
//   RoadTest
//
// The bundle's clock: seconds since the recording began.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "gearhark/diagnosis/road_test.hpp"
#include "gearhark/speed/logs.hpp"

namespace gearhark {

// A frame of a piece of sound at a time of the bundle's clock.
struct ClockAnchor {
  double frame = 0.0;
  Seconds time;
};

// Sound between two interruptions.
struct BundlePiece {
  std::string file;
  std::vector<ClockAnchor> anchors;  // frames rise, times do not fall; may be none
};

enum class TapKind { gear, throttle, road, clutch, run, end };
struct BundleTap {
  Seconds time;
  TapKind kind = TapKind::gear;
  // gear: its label; throttle (load), road (turn), clutch: words of the road-test file, "" for not known any
  // more; run: its number in the plan; end: "spoilt" where the run is not to be used.
  std::string value;
};

struct SpeedTold {
  Seconds from, to;
  StatedSpeed speed;  // times from the bundle's zero
};

// What the recorder asked the phone to leave undone, and what the phone said.
struct SoundSetting {
  std::string name;  // "autoGainControl", "noiseSuppression", "echoCancellation"
  bool asked_off = false;
  std::optional<bool> on;  // as granted; none: the phone did not say
};

struct BundleNotes {
  std::string started;   // "2026-11-26T17:44:03Z"
  bool finished = true;  // false: put together after the page was killed
  std::vector<BundlePiece> sound;
  std::vector<BundleTap> taps;  // by time
  std::vector<SpeedTold> speeds_told;
  std::vector<SoundSetting> settings;
};

// bundle.json. `place` names it in messages. Errors: not JSON; another format or version; a value that is
// missing, of another kind, not a number or out of range; anchors that go backwards.
Result<BundleNotes> read_bundle_notes(std::string_view json, const std::string& place);

// track.csv: satellite fixes on the bundle's clock. Rows without a speed, with one that is known to 3 m/s
// only, or no later than the row before are left out and counted. Without any the log is empty.
Result<SpeedLog> read_bundle_track(std::string_view csv, const std::string& place);

// A stretch of sound without a gap: frame = first_frame + rate * (time - from).
struct ClockStretch {
  double first_frame = 0.0, end_frame = 0.0;
  Seconds from, to;        // of the bundle's clock
  double rate = 0.0;       // frames per second of that clock
  double drift_ppm = 0.0;  // rate over the stated one
  double spread_s = 0.0;   // of the anchors about the line: the middle distance
  [[nodiscard]] double frame_at(Seconds time) const { return first_frame + rate * (time - from).value(); }
};

// Straight lines through the anchors of a piece of `frames` frames at the stated rate (Hz), a new one after
// each gap: a place where the clock ran on for 30 ms or more without sound. Late anchors (a page that was
// busy) are seen as such, since those after them are not late. Between the anchors round a gap nothing is
// known and no stretch lies. None without anchors.
std::vector<ClockStretch> clock_of(const std::vector<ClockAnchor>& anchors, double rate_hz, double frames);

// A piece of sound as it was found in the bundle.
struct BundleSound {
  std::string name;                         // of the entry
  std::shared_ptr<const std::string> copy;  // path of a nameless copy (Run::copy)
  double rate_hz = 0.0, frames = 0.0;
  std::vector<ClockStretch> clock;
};

struct BundleGap {
  Seconds from, to;
};

struct Bundle {
  std::string file;
  BundleNotes notes;
  std::vector<BundleSound> sounds;  // in the order of notes.sound
  std::vector<BundleGap>
      gaps;  // within and between the pieces; no sound, or sound of which the time is not known
  std::optional<SpeedLog> track;
  std::string car_text;  // "": none in the bundle
};

bool looks_like_bundle(const std::string& path);

// Reads all but the sound itself, of which copies without a name are made. Errors: one sentence "FILE: the
// entry "NAME" ..., cure". A hostile bundle costs at most the disk of the sound that it holds (1 GB).
Result<Bundle> load_bundle(const std::string& path);

// The runs in it, by time: what lies between changes of gear, throttle and road, without the second after one
// and the second before the next; where the plan's runs were marked, what lies in them alone. Never across a
// gap, at most three minutes each and an hour together. `file` of each is the bundle's name and the piece's.
struct BundleRuns {
  std::vector<Run> runs;
  std::vector<std::string> left_out;  // a sentence for each stretch that is not used
};
BundleRuns runs_of(const Bundle& bundle);
// That there is none, with the first reason of those left out.
Error no_run(const Bundle& bundle, const std::vector<std::string>& left_out);

// The same as files, for those who want to change something: a road-test file that names them.
struct UnpackedBundle {
  struct Log {
    std::string name, csv;  // "speed_2.csv": of the second run, in the time of its sound file
  };
  std::string road_test;  // with the sound under its names in the bundle, and car = "car.toml"
  std::vector<Log> logs;
};
UnpackedBundle unpacked(const Bundle& bundle, const BundleRuns& runs);

// As a road test with this car, or with that of the bundle. Runs that the car can't have made are left out.
// Errors: no car; no run left, and why.
Result<RoadTest> road_test_of(const Bundle& bundle, Car car, std::string car_file);
Result<RoadTest> road_test_of(const Bundle& bundle);

}  // namespace gearhark
