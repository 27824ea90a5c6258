#include "gearhark/evidence/candidates.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "../heron.hpp"
#include "../knocks.hpp"
#include "../noise.hpp"
#include "gearhark/car/driveline.hpp"
#include "gearhark/evidence/heard_run.hpp"

using namespace gearhark;

namespace {

constexpr double rate_hz = 16000.0, seconds = 16.0, wheel_rate = 9.0;

// Noise, and a knock that rings at 3 kHz so many times per wheel turn, every second one weaker or not at all,
// at a steady speed that is known. lumps: of each of some notes a tyre may make.
HeardRun with_knocks(const Car& car, double per_wheel_turn, double every_second = 1.0, double lumps = 0.0) {
  test::Noise noise(11);
  std::vector<float> samples(static_cast<std::size_t>(rate_hz * seconds));
  for (float& sample : samples) sample = static_cast<float>(0.05 * noise.gaussian());
  for (std::size_t i = 0; i < samples.size(); ++i)
    for (const double order : {12.0, 13.0, 14.0, 15.0, 16.0})
      samples[i] += static_cast<float>(
          lumps * std::cos(2.0 * std::numbers::pi * order * wheel_rate * static_cast<double>(i) / rate_hz));
  test::add_knocks(samples, rate_hz, per_wheel_turn * wheel_rate, 0.2, every_second);
  Run run;
  run.gear = Gear{"3"};
  Tracking tracking;
  tracking.wheel =
      integrate(std::vector<double>(static_cast<std::size_t>(seconds / 0.05) + 1, wheel_rate), 0.05);
  tracking.certainty = Certainty::sure;
  tracking.gear = run.gear;
  return listen_to(car, run, samples, rate_hz, Hertz(8000.0), tracking);
}

double most(const Car& car, const std::string& part, Fault fault, const HeardRun& run) {
  double nats = -100.0;
  for (const Candidate& candidate : gather_part(car, part, {run}, fault))
    nats = std::max(nats, candidate.log_factor);
  return nats;
}

}  // namespace

TEST_CASE("a knock once per turn may be a chipped tooth, one three times per turn is none") {
  const Car car = test::heron();
  const GearPair* final_drive = car.pair("ring_and_pinion");
  REQUIRE(final_drive);
  const double pinion = final_drive->driven_teeth / static_cast<double>(final_drive->driving_teeth);
  CHECK(most(car, "ring_and_pinion", Fault::chipped_tooth, with_knocks(car, pinion)) > 12.0);
  CHECK(most(car, "ring_and_pinion", Fault::chipped_tooth, with_knocks(car, 3.0 * pinion)) < 8.0);
}

TEST_CASE("a joint may knock unequally on both halves of its turn, a knock once per turn is no joint's") {
  const auto car = load_car(std::string(GEARHARK_SOURCE_DIR) + "/models/plover_live_axle_overdrive.toml");
  REQUIRE(car);
  const auto rates = shaft_rates(*car, {Gear{"3"}, Clutch::engaged});
  REQUIRE(rates);
  const double propshaft = std::abs(rates->at("propshaft").wheel);
  const auto found = [&](double every_second) {
    const std::vector<Candidate> candidates =
        gather(*car, {with_knocks(*car, 2.0 * propshaft, every_second)});
    double joint = -100.0, tick = -100.0;
    for (const Candidate& c : candidates) {
      if (c.fault == Fault::dry_joint) joint = std::max(joint, c.log_factor);
      if (c.fault == Fault::chipped_tooth) tick = std::max(tick, c.log_factor);
    }
    return std::pair(joint, tick);
  };
  const auto [unequal, tick_then] = found(0.6);
  CHECK(unequal > 12.0);
  CHECK(unequal > tick_then);
  const auto [joint_then, tick] = found(0.0);
  CHECK(tick > 12.0);
  CHECK(tick > joint_then);
}

TEST_CASE("a ball joint that clicks six times per turn of its wheel is heard as a dry joint") {
  const auto car = load_car(std::string(GEARHARK_SOURCE_DIR) + "/models/dunlin_front_drive.toml");
  REQUIRE(car);
  CHECK(most(*car, "outer_joint_left", Fault::dry_joint, with_knocks(*car, 6.0)) > 12.0);
  CHECK(most(*car, "outer_joint_left", Fault::dry_joint, with_knocks(*car, 7.3)) < 3.0);
}

TEST_CASE("a machine that knocks at its turns, a little behind its belt, comes before every bearing") {
  const auto car = load_car(std::string(GEARHARK_SOURCE_DIR) + "/models/dunlin_front_drive.toml");
  REQUIRE(car);
  const auto rates = shaft_rates(*car, {Gear{"3"}, Clutch::engaged});
  REQUIRE(rates);
  const double pump = std::abs(rates->at("water_pump").wheel);
  const std::vector<Candidate> candidates = gather(*car, {with_knocks(*car, 0.99 * pump)});
  const auto likeliest =
      std::max_element(candidates.begin(), candidates.end(), [](const auto& a, const auto& b) {
        const auto nats = [](const Candidate& c) { return c.healthy ? -100.0 : c.log_factor; };
        return nats(a) < nats(b);
      });
  CHECK(likeliest->part == "water_pump");
  CHECK(likeliest->log_factor > 12.0);
  CHECK(most(*car, "water_pump", Fault::worn_machine, with_knocks(*car, 1.07 * pump)) < 3.0);
}

TEST_CASE("the notes of a knocking crown wheel are not a tyre's") {
  const Car car = test::heron();
  const auto strongest = [&](double knocks_per_turn, Fault fault) {
    double nats = -100.0;
    for (const Candidate& c : gather(car, {with_knocks(car, knocks_per_turn, 1.0, 0.02)}))
      if (c.fault == fault) nats = std::max(nats, c.kind == EvidenceKind::events ? c.log_factor : c.level);
    return nats;
  };
  CHECK(strongest(1.0, Fault::chipped_tooth) > 12.0);
  CHECK(strongest(1.0, Fault::uneven_wear) <= 0.0);
  CHECK(strongest(7.3, Fault::uneven_wear) > 3.0);
}

TEST_CASE("of suspects for the same knocks each says how far it is behind the best of them") {
  const Car car = test::heron();
  std::vector<Candidate> candidates = gather(car, {with_knocks(car, 15.7)});
  std::erase_if(candidates, [](const Candidate& c) { return c.healthy || c.unlisted(); });
  const auto best = std::max_element(candidates.begin(), candidates.end(), [](const auto& a, const auto& b) {
    return a.log_factor < b.log_factor;
  });
  REQUIRE(best->log_factor > 12.0);
  CHECK(best->behind == 0.0);
  int rivals = 0;
  for (const Candidate& candidate : candidates) {
    if (candidate.behind == 0.0) continue;
    ++rivals;
    CHECK(candidate.log_factor + candidate.behind == Approx(best->log_factor));
  }
  CHECK(rivals > 1);
}
