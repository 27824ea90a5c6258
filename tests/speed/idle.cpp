#include "../../src/speed/idle.hpp"

#include <catch2/catch.hpp>
#include <numbers>

#include "../knocks.hpp"
#include "../noise.hpp"

using namespace gearhark;
using namespace gearhark::tracking;

namespace {

constexpr double kRate = 8000.0, kSeconds = 20.0, kWheel = 7.45, kEnginePerWheel = 5.2, kIdle = 14.2;

// As if the wheel had been found at kWheel: with kEnginePerWheel no multiple of the idling engine's half
// order.
FlatSound flat(std::vector<float> samples) {
  return {std::move(samples), kRate, kWheel, integrate(std::vector<double>(401, kWheel), 0.05)};
}

std::vector<float> hiss(std::uint32_t seed) {
  std::vector<float> out = test::noise(static_cast<std::size_t>(kRate * kSeconds), seed);
  for (float& s : out) s *= 0.05f;
  return out;
}

// The knocks of four valves in two turns, one of them loose.
void add_valves(std::vector<float>& samples, double turns_per_s) {
  for (const double strength : {0.5, 0.15, 0.1, 0.2}) {
    const auto late = static_cast<std::size_t>(0.5 * strength * kRate / turns_per_s);
    std::vector<float> one(samples.size() - late);
    test::add_knocks(one, kRate, 0.5 * turns_per_s, strength);
    for (std::size_t i = 0; i < one.size(); ++i) samples[i + late] += one[i];
  }
}

void add_tone(std::vector<float>& samples, double hz, double amplitude) {
  for (std::size_t i = 0; i < samples.size(); ++i)
    samples[i] += static_cast<float>(
        amplitude * std::sin(2.0 * std::numbers::pi * hz * static_cast<double>(i) / kRate + hz));
}

}  // namespace

TEST_CASE("an idling engine is found by its half orders, whatever speed was found") {
  std::vector<float> samples = hiss(1);
  for (int half = 1; half <= 24; ++half) add_tone(samples, 0.5 * half * kIdle, 0.01);
  const auto idle = idling_engine(flat(samples), kEnginePerWheel, {});
  REQUIRE(idle);
  CHECK(*idle == Approx(kIdle).epsilon(5e-3));
}

TEST_CASE(
    "an idling engine of which little more than the firing is heard is found by the beat of its valves") {
  std::vector<float> samples = hiss(2);
  add_valves(samples, kIdle);
  // Its firing alone is heard.
  for (int second = 1; second <= 3; ++second) add_tone(samples, 2.0 * second * kIdle, 0.2);
  // Louder than the knocks below 400 Hz.
  const std::vector<float> wind = hiss(3);
  float low = 0.0f;
  for (std::size_t i = 0; i < samples.size(); ++i) samples[i] += low += 0.3f * (wind[i] - low);
  const auto idle = idling_engine(flat(samples), kEnginePerWheel, {});
  REQUIRE(idle);
  CHECK(*idle == Approx(kIdle).epsilon(5e-3));
}

TEST_CASE("no engine idles in noise, in the engine in gear or in one knock per turn of a shaft") {
  for (std::uint32_t seed = 10; seed < 30; ++seed) {
    CAPTURE(seed);
    std::vector<float> samples = hiss(seed);
    CHECK_FALSE(idling_engine(flat(samples), kEnginePerWheel, {}));
    std::vector<float> knocking = samples;
    test::add_knocks(knocking, kRate, kIdle, 0.5);
    CHECK_FALSE(idling_engine(flat(knocking), kEnginePerWheel, {}));
    const double in_gear = kEnginePerWheel * kWheel;
    add_valves(samples, in_gear);
    for (int half = 1; half <= 20; ++half) add_tone(samples, 0.5 * half * in_gear, 0.03);
    CHECK_FALSE(idling_engine(flat(samples), kEnginePerWheel, {}));
  }
}

TEST_CASE("the turns of a lumpy tyre a little beside the wheels' mean are no idling engine") {
  std::vector<float> samples = hiss(4);
  for (int turn = 1; turn <= 50; ++turn) add_tone(samples, 1.01 * kWheel * turn, 0.02);
  CHECK_FALSE(idling_engine(flat(samples), kEnginePerWheel, {}));
}
