#include "gearhark/diagnosis/exhibits.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "../heron.hpp"
#include "gearhark/signal/statistics.hpp"
#include "gearhark/synthesis/synthesis.hpp"

using namespace gearhark;
using test::heron;

namespace {

struct Shown {
  Car car = heron();
  std::vector<RunSound> sounds;
  Hearing hearing;
  Diagnosis diagnosis;
  Exhibits exhibits;
};

// One run with a loud pinion head bearing at a true 62 km/h, the needle reading 65.
Shown shown() {
  Shown s;
  SoundSettings settings;
  settings.run.speed = settings.run.end_speed = Speed(62.0 / 3.6);
  settings.run.duration = Seconds(14.0);
  settings.fault = SoundFault{};
  settings.fault->part = "pinion_head_bearing";
  settings.fault->fault = Fault::outer_race;
  settings.fault->level = Decibels::already(10.0);
  settings.car_seed = 5;
  settings.run_seed = 7;
  auto sound = synthesise(s.car, settings);
  REQUIRE(sound);
  RunSound run;
  run.run.gear = Gear{"3"};
  run.run.load = Load::drive;
  run.run.speed.points = {{Seconds(0), Speed(65.0 / 3.6)}};
  run.recording.sample_rate = sound->sample_rate;
  run.recording.samples = std::move(sound->samples);
  s.sounds.push_back(std::move(run));
  s.hearing = hear(s.car, s.sounds);
  s.diagnosis = diagnosis_of(s.car, s.hearing);
  s.exhibits = exhibits(s.car, s.sounds, s.hearing, s.diagnosis);
  return s;
}

// The highest value within half an order.
double level_at(const DrawnSpectrum& s, double order) {
  double most = -100.0;
  for (std::size_t i = 0; i < s.db.size(); ++i)
    if (std::abs(s.first + static_cast<double>(i) * s.step - order) < 0.5)
      most = std::max(most, static_cast<double>(s.db[i]));
  return most;
}

}  // namespace

TEST_CASE("what is shown of a fault is what was found of it") {
  const Shown s = shown();
  REQUIRE_FALSE(s.exhibits.suspects.empty());
  const SuspectExhibit& e = s.exhibits.suspects.front();
  const Suspect& suspect = s.diagnosis.suspects.front();
  REQUIRE(suspect.part == "pinion_head_bearing");
  CHECK(e.part == suspect.part);
  CHECK(e.fault == suspect.fault);
  const auto found = static_cast<std::size_t>(std::count_if(suspect.evidence.begin(), suspect.evidence.end(),
                                                            [](const EvidenceItem& i) { return i.found; }));
  REQUIRE(e.levels.size() == 1);
  CHECK(e.levels[0].found == found);
  CHECK(e.levels[0].looked_for == suspect.evidence.size());
  REQUIRE(e.envelope);
  REQUIRE(e.envelope->marks.size() == suspect.evidence.size());

  // The first line stands at least 10 dB over the middle of all that is drawn, and is within what is drawn.
  const Mark& first = e.envelope->marks.front();
  CHECK(first.found);
  CHECK(level_at(*e.envelope, first.order.value()) > static_cast<double>(median(e.envelope->db)) + 10.0);
  CHECK(e.envelope->first + e.envelope->step * static_cast<double>(e.envelope->db.size()) >
        e.envelope->marks.back().order.value());

  // In the map it is darker than the mean, in most rows.
  REQUIRE(e.map);
  CHECK(e.map->of_envelope);
  REQUIRE(e.map->db.size() == e.map->rows * e.map->columns);
  const auto column =
      static_cast<std::size_t>(first.order.value() / e.map->to * static_cast<double>(e.map->columns));
  const double usual = median(e.map->db);
  std::size_t darker = 0;
  for (std::size_t row = 0; row < e.map->rows; ++row) {
    const auto at = [&](std::size_t c) { return static_cast<double>(e.map->db[row * e.map->columns + c]); };
    darker += std::max({at(column - 1), at(column), at(column + 1)}) > usual + 6.0;
  }
  CHECK(darker > e.map->rows / 2);
}

TEST_CASE("the speed curve's mean is the speed found, and what was told stands beside it") {
  const Shown s = shown();
  REQUIRE(s.exhibits.speeds.size() == 1);
  const SpeedCurve& curve = s.exhibits.speeds.front();
  double mean = 0.0;
  for (const double v : curve.found_mps) mean += v / static_cast<double>(curve.found_mps.size());
  const Speed found = s.diagnosis.runs[0].mean_wheel * s.car.tyre.rolling_circumference;
  CHECK(mean == Approx(found.value()).epsilon(0.002));
  REQUIRE(curve.told_mps.size() == curve.found_mps.size());
  for (const double v : curve.told_mps) CHECK(v == Approx(65.0 / 3.6));
}

TEST_CASE("the order spectrum names what a sound car makes, where it stands") {
  const Shown s = shown();
  const SuspectExhibit& e = s.exhibits.suspects.front();
  const auto& healthy = e.tones.healthy;
  const auto firing =
      std::find_if(healthy.begin(), healthy.end(), [](const Mark& m) { return m.words == "engine firing"; });
  REQUIRE(firing != healthy.end());
  CHECK(level_at(e.tones, firing->order.value()) > static_cast<double>(median(e.tones.db)) + 10.0);
  REQUIRE_FALSE(s.exhibits.tables.empty());
  CHECK_FALSE(s.exhibits.tables.front().rows.empty());
}

TEST_CASE("a run whose speed was not found has no pictures") {
  const Car car = heron();
  RunSound silent;
  silent.run.gear = Gear{"3"};
  silent.run.speed.points = {{Seconds(0), Speed(18.0)}};
  silent.recording.sample_rate = 16000.0;
  silent.recording.samples.assign(160000, 0.0f);
  const std::vector<RunSound> sounds{silent};
  Hearing hearing = hear(car, sounds);
  const Diagnosis d = diagnosis_of(car, hearing);
  const Exhibits x = exhibits(car, sounds, hearing, d);
  CHECK(x.suspects.empty());
  CHECK(x.speeds.empty());
}
