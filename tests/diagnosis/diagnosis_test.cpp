#include "gearhark/diagnosis/diagnosis.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>
#include <set>

#include "../heron.hpp"
#include "../knocks.hpp"
#include "../noise.hpp"
#include "gearhark/car/driveline.hpp"
#include "gearhark/diagnosis/explain.hpp"
#include "gearhark/synthesis/synthesis.hpp"

using namespace gearhark;
using test::heron;

namespace {

Run driven_in(const char* gear, double stated_kmh) {
  Run run;
  run.gear = Gear{gear};
  run.load = Load::drive;
  run.speed.points = {{Seconds(0), Speed(stated_kmh / 3.6)}};
  return run;
}

Run third_gear(double stated_kmh) { return driven_in("3", stated_kmh); }

// What a phone hears of such a run at that true speed.
RunSound recorded(const Car& car, const Run& run, double true_kmh, std::optional<SoundFault> fault,
                  std::uint64_t seed) {
  SoundSettings settings;
  settings.run.gear = run.gear;
  settings.run.speed = settings.run.end_speed = Speed(true_kmh / 3.6);
  settings.run.duration = Seconds(14.0);
  settings.fault = std::move(fault);
  settings.car_seed = 5;
  settings.run_seed = seed;
  auto sound = synthesise(car, settings);
  REQUIRE(sound);
  RunSound out{run, {}};
  out.recording.sample_rate = sound->sample_rate;
  out.recording.samples = std::move(sound->samples);
  return out;
}

// A road test of one run at a true 62 km/h, the needle reading 65.
RunSound one_run(const Car& car, std::optional<SoundFault> fault, std::uint64_t seed) {
  return recorded(car, third_gear(65.0), 62.0, std::move(fault), seed);
}

SoundFault head_bearing() {
  SoundFault fault;
  fault.part = "pinion_head_bearing";
  fault.fault = Fault::outer_race;
  fault.level = Decibels::already(10.0);
  return fault;
}

RunSound noise(double duration_s, Run run) {
  std::mt19937 engine(3);
  RunSound sound{std::move(run), {}};
  sound.recording.sample_rate = 16000.0;
  sound.recording.samples.resize(static_cast<std::size_t>(duration_s * 16000.0));
  for (float& s : sound.recording.samples)
    s = static_cast<float>(static_cast<double>(engine()) / 4294967296.0 - 0.5) * 0.1f;
  return sound;
}

// Noise, an engine's orders at a steady speed, and two unequal knocks per turn of the propshaft, each on the
// next sample.
RunSound engine_and_knocks(const Car& car, double knock) {
  constexpr double rate_hz = 16000.0, seconds = 14.0, wheel_rate = 9.0, reading_high = 1.03;
  const auto rates = shaft_rates(car, {Gear{"3"}, Clutch::engaged});
  REQUIRE(rates);
  const double knocks = 2.0 * std::abs(rates->at("propshaft").wheel) * wheel_rate,
               half_order = 0.5 * std::abs(rates->at("engine").wheel) * wheel_rate;
  RunSound run{third_gear(3.6 * reading_high * wheel_rate * car.tyre.rolling_circumference.value()), {}};
  run.recording.sample_rate = rate_hz;
  std::vector<float>& samples = run.recording.samples;
  samples.resize(static_cast<std::size_t>(seconds * rate_hz));
  test::Noise noise(11);
  for (std::size_t i = 0; i < samples.size(); ++i) {
    double sample = 0.05 * noise.gaussian();
    for (int h = 1; h <= 12; ++h)
      sample += 0.06 / std::sqrt(h) *
                std::sin(2.0 * std::numbers::pi * half_order * h * static_cast<double>(i) / rate_hz + h * h);
    samples[i] = static_cast<float>(sample);
  }
  test::add_knocks(samples, rate_hz, knocks, knock, 0.5);
  return run;
}

double total(const Diagnosis& d) {
  double sum = d.no_fault.value() + d.unexplained.value();
  for (const Suspect& s : d.suspects) sum += s.probability.value();
  return sum;
}

}  // namespace

TEST_CASE("a loud bearing fault is named, and a quieter recording of it changes nothing") {
  const Car car = heron();
  RunSound run = one_run(car, head_bearing(), 7);
  const Diagnosis loud = diagnose(car, {run});
  REQUIRE_FALSE(loud.suspects.empty());
  CHECK(loud.verdict == Verdict::fault_heard);
  CHECK(loud.suspects.front().part == "pinion_head_bearing");
  CHECK(loud.suspects.front().fault == Fault::outer_race);
  CHECK(total(loud) == Approx(1.0).margin(1e-9));
  for (float& s : run.recording.samples) s *= 0.1f;
  const Diagnosis quiet = diagnose(car, {run});
  REQUIRE_FALSE(quiet.suspects.empty());
  CHECK(quiet.suspects.front().part == loud.suspects.front().part);
  CHECK(quiet.suspects.front().probability.value() ==
        Approx(loud.suspects.front().probability.value()).margin(0.02));
}

TEST_CASE("a rolling element is named though of its bearing nothing is known") {
  const Car car = heron();
  SoundFault fault = head_bearing();
  fault.fault = Fault::rolling_element;
  const RunSound run = one_run(car, fault, 7);
  Car told = car;
  for (Bearing& bearing : told.bearings) {
    if (bearing.id != fault.part) continue;
    bearing.count.reset();
    bearing.element_diameter = bearing.pitch_diameter = {};
  }
  const Diagnosis d = diagnose(told, {run});
  REQUIRE_FALSE(d.suspects.empty());
  CHECK(d.suspects.front().part == fault.part);
  CHECK(d.suspects.front().fault == Fault::rolling_element);
}

TEST_CASE("a healthy car is given no fault") {
  const Car car = heron();
  CHECK(diagnose(car, {one_run(car, std::nullopt, 8)}).verdict != Verdict::fault_heard);
}

TEST_CASE("noise without a car in it is no ground for any verdict") {
  const Car car = heron();
  const Diagnosis d = diagnose(car, {noise(12.0, third_gear(65.0))});
  CHECK(d.verdict == Verdict::cannot_tell);
  CHECK_FALSE(d.reason.empty());
}

TEST_CASE("a knock held to its shaft confirms a speed that the engine alone leaves in doubt") {
  const auto car = load_car(std::string(GEARHARK_SOURCE_DIR) + "/models/plover_live_axle_overdrive.toml");
  REQUIRE(car);
  const Diagnosis knocking = diagnose(*car, {engine_and_knocks(*car, 0.3)});
  REQUIRE(knocking.runs.size() == 1);
  CHECK(knocking.runs.front().tracking.certainty == Certainty::doubtful);
  CHECK(knocking.verdict == Verdict::fault_heard);
  CHECK(diagnose(*car, {engine_and_knocks(*car, 0.0)}).verdict == Verdict::cannot_tell);
}

TEST_CASE("a crawl confirms its speed only with a second run that puts the needle at the same place") {
  const Car car = heron();
  SoundFault fault = head_bearing();
  fault.level = Decibels::already(16.0);
  const auto crawl = [&](std::uint64_t seed) {
    return recorded(car, driven_in("1", 21.0), 20.0, fault, seed);
  };
  const Diagnosis alone = diagnose(car, {crawl(7)});
  REQUIRE(alone.runs.size() == 1);
  CHECK(alone.runs[0].tracking.certainty == Certainty::sure);
  REQUIRE_FALSE(alone.suspects.empty());
  CHECK(alone.suspects[0].part == fault.part);
  CHECK(alone.verdict == Verdict::cannot_tell);
  CHECK(diagnose(car, {crawl(7), crawl(8)}).verdict == Verdict::fault_heard);
}

TEST_CASE("a second of sound is too little, and says so") {
  const Car car = heron();
  const Diagnosis d = diagnose(car, {noise(1.0, third_gear(65.0))});
  CHECK(d.verdict == Verdict::cannot_tell);
  // Nothing was looked at: nothing has a probability, and what to record is asked of the whole car.
  CHECK(d.suspects.empty());
  CHECK(total(d) == 0.0);
  CHECK(d.next_run);
}

TEST_CASE(
    "of left and right with the same lines neither is made certain, and that it is one of them is said") {
  Car car = heron();
  for (Bearing& bearing : car.bearings) {
    if (bearing.id == "wheel_bearing_rr") bearing.pitch_diameter = Length(0.0540);
    if (!bearing.id.starts_with("wheel_bearing_f")) continue;
    bearing.element_diameter = Length(0.009);
    bearing.pitch_diameter = Length(0.060);
  }
  SoundFault fault;
  fault.part = "wheel_bearing_rl";
  fault.fault = Fault::inner_race;
  fault.level = Decibels::already(10.0);
  const Diagnosis d = diagnose(car, {one_run(car, fault, 7)});
  REQUIRE(d.suspects.size() > 1);
  const Suspect &first = d.suspects[0], &second = d.suspects[1];
  CHECK(d.verdict == Verdict::fault_heard);
  CHECK(std::set{first.part, second.part} == std::set<std::string>{"wheel_bearing_rl", "wheel_bearing_rr"});
  CHECK(first.probability.value() < 0.75);
  CHECK(first.probability.value() + second.probability.value() > 0.75);
  CHECK_THAT(d.reason, Catch::Contains("is not ruled out"));
}

TEST_CASE("where a straight run can't part left from right, a bend is to be recorded next") {
  const Car car = heron();
  SoundFault fault;
  fault.part = "wheel_bearing_rl";
  fault.fault = Fault::inner_race;
  fault.level = Decibels::already(10.0);
  const Diagnosis d = diagnose(car, {one_run(car, fault, 7)});
  REQUIRE_FALSE(d.suspects.empty());
  REQUIRE(d.suspects[0].cannot_be_told_from == std::vector<std::string>{"wheel_bearing_rr"});
  REQUIRE(d.next_run);
  CHECK(d.next_run->turn != Turn::straight);
  CHECK_THAT(d.next_run->because, Catch::Contains("left") && Catch::Contains("right"));
}

TEST_CASE("the verdict names a second suspect that is not ruled out, and no other") {
  Suspect first, second;
  first.part = "mainshaft_bearing";
  first.name = "mainshaft bearing";
  first.in_words = "a steady growl";
  first.probability = Probability(0.7);
  second.part = "input_bearing";
  second.probability = Probability(0.22);
  CHECK(
      reason_heard({first, second}) ==
      "The mainshaft bearing is the likeliest source (70 %): a steady growl. The input_bearing (22 %) is not "
      "ruled out.");
  second.probability = Probability(0.1);
  CHECK(reason_heard({first, second}) ==
        "The mainshaft bearing is the likeliest source (70 %): a steady growl.");
}
