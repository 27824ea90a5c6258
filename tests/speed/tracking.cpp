#include "gearhark/speed/tracking.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

#include "../heron.hpp"
#include "gearhark/car/driveline.hpp"
#include "synthetic.hpp"

using namespace gearhark;
using test::heron;
using namespace gearhark::literals;

namespace {

constexpr double kRate = 8000.0, kSeconds = 10.0;

// What a healthy car makes in this gear: firing orders, and loaded meshes louder than idle ones.
std::vector<synthetic::Tone> tones(const Car& car, const Gear& gear) {
  const DriveState state{gear, Clutch::engaged};
  std::vector<synthetic::Tone> out;
  for (const Line& line : predicted_lines(car, state, *shaft_rates(car, state))) {
    const double order = std::abs(line.rate.wheel);
    if (line.kind == LineKind::firing) out.push_back({order, 0.04 / line.harmonic});
    if (line.kind == LineKind::mesh && line.harmonic <= 2)
      out.push_back({order, (line.loaded ? 0.05 : 0.015) / line.harmonic});
  }
  return out;
}

double steady(double t) { return 9.0 * (1.0 + 0.003 * std::sin(0.7 * t)); }

Run run_in(const Car& car, const std::string& gear, double wheel_rate) {
  Run run;
  run.gear = Gear{gear};
  run.speed.points = {{0_s, ShaftRate(wheel_rate) * car.tyre.rolling_circumference}};
  return run;
}

const std::vector<synthetic::Tone> kTread = {{61.95, 0.06}, {62.07, 0.04}, {123.9, 0.03}};

void add(std::vector<synthetic::Tone>& tones, const std::vector<synthetic::Tone>& more) {
  tones.insert(tones.end(), more.begin(), more.end());
}

bool says(const Tracking& tracking, const std::string& words) {
  return std::any_of(tracking.remarks.begin(), tracking.remarks.end(),
                     [&](const std::string& remark) { return remark.find(words) != std::string::npos; });
}

}  // namespace

TEST_CASE("a right gear is not contradicted and the needle's error is found") {
  const Car car = heron();
  const auto samples = synthetic::sound(kSeconds, kRate, tones(car, {"3"}), 0.08, steady);
  const Tracking found = track(samples, kRate, car, run_in(car, "3", 9.4));
  CHECK(found.gear.label == "3");
  CHECK_FALSE(says(found, "better than the stated gear"));
  CHECK(found.wheel.mean_rate() == Approx(synthetic::mean_rate(kSeconds, steady)).epsilon(3e-4));
  CHECK(found.scale == Approx(9.0 / 9.4).epsilon(1e-3));
  CHECK(found.certainty == Certainty::sure);
}

TEST_CASE("a gear noted one off is recognised, said and corrected") {
  const Car car = heron();
  const auto samples = synthetic::sound(kSeconds, kRate, tones(car, {"3"}), 0.08, steady);
  const Tracking found = track(samples, kRate, car, run_in(car, "4", 9.4));
  CHECK(found.gear.label == "3");
  CHECK(says(found, "fits gear 3 better than the stated gear 4"));
  CHECK(found.wheel.mean_rate() == Approx(synthetic::mean_rate(kSeconds, steady)).epsilon(3e-4));
}

TEST_CASE("a shaft speed that was given is passed through") {
  Run run;
  run.speed.source = SpeedSource::exact_shaft;
  run.speed.shaft_rate = ShaftRate(29.53);
  const std::vector<float> samples(static_cast<std::size_t>(3 * kRate), 0.0f);
  const Tracking found = track(samples, kRate, heron(), run);
  CHECK(found.wheel.mean_rate() == Approx(29.53));
  CHECK(found.certainty == Certainty::sure);
  CHECK(found.wheel_rate_sd == 0.0);
}

TEST_CASE("a gear the car lacks and a recording too short are lost with a reason") {
  const Car car = heron();
  const std::vector<float> samples(static_cast<std::size_t>(kRate), 0.0f);
  for (const std::string gear : {"9", "3"}) {
    const Tracking found = track(samples, kRate, car, run_in(car, gear, 9.0));
    CHECK(found.certainty == Certainty::lost);
    CHECK(found.remarks.size() == 1);
  }
}

// The tyres' rate at the start and at the end over the needle's, as a mechanic would work it out by hand.
// Pulling away is quick at first (common practice, no published source): the mean lies 3 % above the middle
// of the two.
TEST_CASE("the needle's error is read where the needle was, not off a straight line that nobody drove") {
  const Car car = heron();
  const auto bowed = [](double t) {
    const double u = t / kSeconds;
    return (6.0 + 4.0 * u) * (1.0 + 0.05 * 4.0 * u * (1.0 - u));
  };
  const auto samples = synthetic::sound(kSeconds, kRate, tones(car, {"3"}), 0.08, bowed);
  Run run = run_in(car, "3", 6.0 * 1.04);
  run.speed.points.push_back({Seconds(kSeconds), ShaftRate(10.0 * 1.04) * car.tyre.rolling_circumference});
  const Tracking found = track(samples, kRate, car, run);
  CHECK(found.wheel.mean_rate() == Approx(synthetic::mean_rate(kSeconds, bowed)).epsilon(1e-3));
  CHECK(found.wheel.mean_rate() > 1.02 * 8.0);
  CHECK(found.scale == Approx(1.0 / 1.04).epsilon(0.005));
  CHECK(found.scale_sd == Approx(0.01).epsilon(0.1));
}

TEST_CASE("tread heard in gear gives the speed in neutral, where the engine idles by itself") {
  const Car car = heron();
  auto in_gear = tones(car, {"3"});
  add(in_gear, kTread);
  const auto driven = synthetic::sound(kSeconds, kRate, in_gear, 0.08, steady);
  // Resistance falls with speed: a coast-down sags below the straight line between its ends by 3 %.
  const auto coast = [](double t) {
    const double u = t / kSeconds;
    return (10.0 - 2.5 * u) * (1.0 - 0.03 * 4.0 * u * (1.0 - u));
  };
  auto rolling = synthetic::sound(kSeconds, kRate, kTread, 0.08, coast, 2);
  const auto idle = synthetic::sound(
      kSeconds, kRate, {{2.0, 0.08}, {3.0, 0.03}, {4.0, 0.06}, {5.0, 0.03}, {6.0, 0.05}, {8.0, 0.04}}, 0.0,
      [](double) { return 14.0; });
  for (std::size_t i = 0; i < rolling.size(); ++i) rolling[i] += idle[i];
  Run neutral = run_in(car, "N", 10.0 * 1.03);
  neutral.load = Load::neutral;
  const Speed last = ShaftRate(7.5 * 1.03) * car.tyre.rolling_circumference;
  neutral.speed.points.push_back({Seconds(kSeconds), last});
  const std::vector<RunInput> runs = {{run_in(car, "3", 9.0 * 1.03), driven, kRate},
                                      {neutral, rolling, kRate}};
  const auto found = track_all(car, runs);
  CHECK(found[1].certainty == Certainty::sure);
  CHECK(found[1].wheel.mean_rate() == Approx(synthetic::mean_rate(kSeconds, coast)).epsilon(1e-3));
  REQUIRE(found[1].engine);
  CHECK(found[1].engine->mean_rate() == Approx(14.0).epsilon(2e-3));
}

TEST_CASE("an engine at a stand supports no road speed") {
  const Car car = heron();
  // 850 rpm: every half order of an idling engine; 4 x 850 rpm would be gear 3 at about 50 mph.
  std::vector<synthetic::Tone> idle;
  for (int half = 1; half <= 48; ++half) idle.push_back({0.5 * half, half % 4 == 0 ? 0.06 : 0.03});
  const auto samples =
      synthetic::sound(kSeconds, kRate, idle, 0.05, [](double t) { return 14.2 + 0.05 * std::sin(t); });
  for (const std::string gear : {"2", "3", "4"}) {
    Run run = run_in(car, gear, 0.0);
    run.speed.points = {{0_s, Speed(50 * 0.44704)}};
    const Tracking found = track(samples, kRate, car, run);
    CHECK(found.certainty != Certainty::sure);
    CHECK(says(found, "does not support the stated speed"));
  }
}

TEST_CASE("an engine revved at a stand is not sure of a road speed") {
  const Car car = heron();
  // From 2700 to 3100 rpm, which gear 3 would make of 50 to 57 mph.
  std::vector<synthetic::Tone> revved;
  for (int whole = 1; whole <= 40; ++whole) revved.push_back({1.0 * whole, whole % 2 == 0 ? 0.06 : 0.03});
  const auto samples =
      synthetic::sound(kSeconds, kRate, revved, 0.05, [](double t) { return 45.0 + 0.7 * t; });
  Run run = run_in(car, "3", 0.0);
  run.speed.points = {{0_s, Speed(53 * 0.44704)}};
  const Tracking found = track(samples, kRate, car, run);
  CHECK(found.certainty != Certainty::sure);
}

TEST_CASE("an engine speed in gear is enough") {
  const Car car = heron();
  const auto samples = synthetic::sound(kSeconds, kRate, tones(car, {"3"}), 0.08, steady);
  Run run = run_in(car, "3", 9.0);
  run.speed.source = SpeedSource::engine;
  run.speed.engine_rate = ShaftRate(std::abs(*overall_ratio(car, {"3"})) * 9.0 * 1.03);
  run.speed.points.clear();
  const Tracking found = track(samples, kRate, car, run);
  CHECK(found.certainty == Certainty::sure);
  CHECK(found.wheel.mean_rate() == Approx(synthetic::mean_rate(kSeconds, steady)).epsilon(3e-4));
}

TEST_CASE("a gear and a range of speeds are enough") {
  const Car car = heron();
  const auto samples = synthetic::sound(kSeconds, kRate, tones(car, {"3"}), 0.08, steady);
  Run run = run_in(car, "3", 7.5);
  run.speed.source = SpeedSource::range;
  run.speed.points.push_back({0_s, ShaftRate(11.0) * car.tyre.rolling_circumference});
  const Tracking found = track(samples, kRate, car, run);
  CHECK(found.certainty == Certainty::sure);
  CHECK(found.scale == 1.0);
  CHECK(found.wheel.mean_rate() == Approx(synthetic::mean_rate(kSeconds, steady)).epsilon(3e-4));
}

TEST_CASE("a speed that changed though the note says steady is said") {
  const Car car = heron();
  const auto faster = [](double t) { return 8.0 + 0.15 * t; };
  const auto samples = synthetic::sound(kSeconds, kRate, tones(car, {"3"}), 0.08, faster);
  const Tracking found = track(samples, kRate, car, run_in(car, "3", 9.0));
  CHECK(says(found, "The car was accelerating"));
  CHECK(found.wheel.mean_rate() == Approx(synthetic::mean_rate(kSeconds, faster)).epsilon(1e-3));
}

// Heron in gear 3 with its engine at a rate of its own.
Tracking with_engine_at(double turns_per_s, Load load) {
  const Car car = heron();
  std::vector<synthetic::Tone> road, engine;
  for (const auto& tone : tones(car, {"3"})) road.push_back(tone);
  const double ratio = std::abs(*overall_ratio(car, {"3"}));
  // Firing and whole orders leave the road's; the meshes stay.
  std::erase_if(road, [ratio](const auto& tone) { return tone.order < 12.5 * ratio; });
  for (int whole = 1; whole <= 12; ++whole) engine.push_back({1.0 * whole, 0.04});
  auto samples = synthetic::sound(kSeconds, kRate, road, 0.05, steady);
  const auto alone =
      synthetic::sound(kSeconds, kRate, engine, 0.0, [turns_per_s](double) { return turns_per_s; });
  for (std::size_t i = 0; i < samples.size(); ++i) samples[i] += alone[i];
  Run run = run_in(car, "3", 9.4);
  run.load = load;
  return track(samples, kRate, car, run);
}

TEST_CASE("an engine that idles while the car rolls in gear, pedal down, is said") {
  const Tracking found = with_engine_at(15.0, Load::drive);
  for (const std::string& remark : found.remarks) UNSCOPED_INFO(remark);
  CHECK(says(found, "Engine and road do not belong together"));
  CHECK(found.wheel.mean_rate() == Approx(synthetic::mean_rate(kSeconds, steady)).epsilon(1e-3));
}

TEST_CASE("an engine a little slower than the road is not made a slipping clutch") {
  const Tracking found = with_engine_at(0.91 * 9.0 * std::abs(*overall_ratio(heron(), {"3"})), Load::drive);
  CHECK_FALSE(says(found, "the clutch slipped"));
  CHECK(found.wheel.mean_rate() == Approx(synthetic::mean_rate(kSeconds, steady)).epsilon(1e-3));
}

TEST_CASE("a needle that reads low contradicts UN Regulation 39, which is said") {
  const Car car = heron();
  const auto samples = synthetic::sound(kSeconds, kRate, tones(car, {"3"}), 0.08, steady);
  CHECK(says(track(samples, kRate, car, run_in(car, "3", 8.6)), "UN Regulation 39"));
  CHECK_FALSE(says(track(samples, kRate, car, run_in(car, "3", 9.4)), "UN Regulation 39"));
}

TEST_CASE("a run that alone puts the needle elsewhere is believed only where the other runs put it") {
  const Car car = heron();
  const auto driven = [&](double loud, double rate, double also) {
    auto heard = tones(car, {"3"});
    for (synthetic::Tone& tone : heard) tone.order *= rate / 9.0;
    for (synthetic::Tone tone : tones(car, {"3"}))
      heard.push_back({tone.order * also / 9.0, tone.amplitude * loud});
    return synthetic::sound(kSeconds, kRate, heard, 0.08, steady);
  };
  // What another car beside would do: the same lines, louder, of another speed.
  const auto plain = driven(0.0, 9.0, 9.0), mixed = driven(2.0, 9.0, 8.3);
  const RunInput right{run_in(car, "3", 9.4), plain, kRate}, doubtful{run_in(car, "3", 9.4), mixed, kRate};
  const double truth = synthetic::mean_rate(kSeconds, steady);
  const auto alone = track_all(car, std::vector{doubtful});
  CHECK(alone[0].certainty == Certainty::sure);
  CHECK(alone[0].wheel.mean_rate() == Approx(truth * 8.3 / 9.0).epsilon(1e-3));
  const auto together = track_all(car, std::vector{right, doubtful, right});
  CHECK(together[1].wheel.mean_rate() == Approx(truth).epsilon(1e-3));
}

TEST_CASE("a log with its own clock is laid against the sound") {
  const Car car = heron();
  // 40 s of log; the recording are its seconds 18 to 28.
  const auto logged = [](double t) { return 7.0 + 3.0 * std::exp(-0.02 * (t - 24.0) * (t - 24.0)); };
  const auto samples =
      synthetic::sound(kSeconds, kRate, tones(car, {"3"}), 0.08, [&](double t) { return logged(t + 18.0); });
  Run run = run_in(car, "3", 9.0);
  run.speed = {};
  run.speed.source = SpeedSource::satellite;
  run.speed.own_clock = true;
  for (int second = 0; second <= 40; ++second)
    run.speed.points.push_back(
        {Seconds(second), ShaftRate(logged(second - 1.0)) * car.tyre.rolling_circumference});
  const Tracking found = track(samples, kRate, car, run);
  CHECK(says(found, "The speed log was laid against the sound"));
  CHECK(found.wheel.mean_rate() ==
        Approx(synthetic::mean_rate(kSeconds, [&](double t) { return logged(t + 18.0); })).epsilon(1e-3));
}
