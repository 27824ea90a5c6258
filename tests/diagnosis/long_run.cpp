// A run that is too long to be held, heard piece by piece.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "../heron.hpp"
#include "gearhark/diagnosis/exhibits.hpp"
#include "gearhark/diagnosis/hearing.hpp"
#include "gearhark/synthesis/synthesis.hpp"

using namespace gearhark;
using test::heron;

namespace {

struct Made {
  RunSound held, in_pieces;
  double wheel_hz = 0.0;
};

// One run with a bad pinion head bearing, as a whole and in pieces.
Made made(const Car& car, std::size_t pieces) {
  SoundSettings settings;
  settings.run.speed = settings.run.end_speed = Speed(62.0 / 3.6);
  settings.run.duration = Seconds(75.0);
  settings.fault = SoundFault{};
  settings.fault->part = "pinion_head_bearing";
  settings.fault->level = Decibels::already(8.0);
  settings.car_seed = 32;
  settings.run_seed = 7;
  auto sound = synthesise(car, settings);
  REQUIRE(sound);
  Made out;
  out.wheel_hz = sound->truth.mean_wheel.value();
  out.held.run.gear = Gear{"3"};
  out.held.run.load = Load::drive;
  out.held.run.speed.points = {{Seconds(0), Speed(65.0 / 3.6)}};
  out.held.recording.sample_rate = sound->sample_rate;
  out.held.recording.samples = std::move(sound->samples);
  out.in_pieces = out.held;
  out.in_pieces.recording.samples.clear();
  const auto whole = std::make_shared<LongRecording>();
  whole->samples = out.held.recording.samples.size();
  whole->pieces = pieces;
  whole->read = [self = whole.get(), all = out.held.recording](const auto& hear) -> std::optional<Error> {
    for (std::size_t i = 0; i < self->pieces; ++i) {
      Recording piece;
      piece.sample_rate = all.sample_rate;
      piece.samples.assign(all.samples.begin() + static_cast<long>(self->first_sample(i)),
                           all.samples.begin() + static_cast<long>(self->first_sample(i + 1)));
      if (!hear(i, piece)) break;
    }
    return {};
  };
  out.in_pieces.pieces = whole;
  return out;
}

}  // namespace

TEST_CASE("a run heard piece by piece has the verdict and the speed of the whole") {
  const Car car = heron();
  const Made run = made(car, 3);
  const Diagnosis whole = diagnose(car, {run.held}), pieces = diagnose(car, {run.in_pieces});
  REQUIRE(whole.verdict == Verdict::fault_heard);
  CHECK(pieces.verdict == Verdict::fault_heard);
  REQUIRE(!pieces.suspects.empty());
  CHECK(pieces.suspects.front().part == "pinion_head_bearing");
  CHECK(pieces.suspects.front().fault == Fault::outer_race);
  CHECK(pieces.suspects.front().probability.value() > whole.suspects.front().probability.value() - 0.1);
  const RunReport& report = pieces.runs.front();
  CHECK(report.mean_wheel.value() == Approx(run.wheel_hz).epsilon(0.002));
  CHECK(report.tracking.certainty == Certainty::sure);
  CHECK(report.quality.usable.value() == Approx(75.0).margin(3.0));
  REQUIRE(report.excerpt);
  CHECK((report.excerpt->to - report.excerpt->from).value() == Approx(25.0).margin(0.01));
}

TEST_CASE("what is drawn of a long run is drawn of its clearest part") {
  const Car car = heron();
  const Made run = made(car, 3);
  const std::vector<RunSound> sounds{run.in_pieces};
  Hearing hearing = hear(car, sounds);
  CHECK(hearing.sound_of(0, sounds).samples.size() == 1'200'000);
  const Diagnosis diagnosis = diagnosis_of(car, hearing);
  const Exhibits shown = exhibits(car, sounds, hearing, diagnosis);
  REQUIRE(!shown.suspects.empty());
  CHECK(shown.suspects.front().map);
  const RunSound part = clearest_part(car, run.in_pieces);
  CHECK(part.recording.samples.size() == 1'200'000);
  CHECK(!part.pieces);
  CHECK((*part.run.to - *part.run.from).value() == Approx(25.0).margin(0.01));
}

TEST_CASE(
    "a long run whose file goes away before its excerpt is read again is judged all the same, and says so") {
  const Car car = heron();
  const Made run = made(car, 3);
  const Verdict whole = diagnose(car, {run.held}).verdict;
  REQUIRE(whole == Verdict::fault_heard);
  std::size_t passes = 0;
  const auto vanishing = std::make_shared<LongRecording>(*run.in_pieces.pieces);
  vanishing->read = [&, all = run.in_pieces.pieces](const auto& hear) -> std::optional<Error> {
    if (++passes < 3) return all->read(hear);
    return Error{"run.wav is gone; copy it anew"};
  };
  RunSound sound = run.in_pieces;
  sound.pieces = vanishing;
  const std::vector<RunSound> sounds{sound};
  Hearing hearing = hear(car, sounds);
  CHECK(passes == 3);
  const Diagnosis diagnosis = diagnosis_of(car, hearing);
  CHECK(diagnosis.verdict == whole);
  const std::vector<std::string>& problems = diagnosis.runs.front().problems;
  CHECK(std::count(problems.begin(), problems.end(), "run.wav is gone; copy it anew") == 1);
  const std::vector<float>& excerpt = hearing.sound_of(0, sounds).samples;  // silence, of its length
  CHECK(excerpt.size() == 1'200'000);
  CHECK(std::all_of(excerpt.begin(), excerpt.end(), [](float v) { return v == 0.0f; }));
  const Exhibits shown = exhibits(car, sounds, hearing, diagnosis);
  CHECK(!shown.suspects.empty());
}
