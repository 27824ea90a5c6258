#include "gearhark/speed/tracking.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

#include "gearhark/car/driveline.hpp"
#include "synthetic.hpp"

using namespace gearhark;
using namespace gearhark::literals;

namespace {

constexpr double kRate = 8000.0, kSeconds = 10.0;

Car heron() {
  auto car = load_car(std::string(GEARHARK_SOURCE_DIR) + "/models/heron_rear_transaxle.toml");
  REQUIRE(car);
  return *car;
}

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
