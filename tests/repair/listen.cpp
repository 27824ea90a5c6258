#include "gearhark/repair/listen.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

#include "../synthesis/small_car.hpp"
#include "driven.hpp"

using namespace gearhark;
using namespace gearhark::literals;
using Catch::Contains;

namespace {

constexpr double rate_hz = 16000.0, duration_s = 8.0;

// A wheel that speeds up from 8 to 10 turns a second.
AngleTrack sweep() {
  AngleTrack track;
  track.step_s = 0.05;
  for (double t = 0.0; t <= duration_s + 0.01; t += track.step_s)
    track.turns.push_back(8.0 * t + 0.5 * (2.0 / duration_s) * t * t);
  return track;
}

std::vector<float> tone(double hz) {
  std::vector<float> out(static_cast<std::size_t>(duration_s * rate_hz));
  for (std::size_t i = 0; i < out.size(); ++i)
    out[i] = static_cast<float>(0.2 * std::sin(2 * std::numbers::pi * hz * static_cast<double>(i) / rate_hz));
  return out;
}

std::vector<float> tone_of_order(const AngleTrack& shaft, double order) {
  std::vector<float> out(static_cast<std::size_t>(duration_s * rate_hz));
  for (std::size_t i = 0; i < out.size(); ++i)
    out[i] = static_cast<float>(
        0.2 * std::sin(2 * std::numbers::pi * order * shaft.at(static_cast<double>(i) / rate_hz)));
  return out;
}

// Change in dB; the first and last half second are left to the edges of filters.
double change_db(const std::vector<float>& before, const std::vector<float>& after) {
  const auto edge = static_cast<std::size_t>(0.5 * rate_hz);
  double was = 0.0, is = 1e-30;
  for (std::size_t i = edge; i + edge < before.size(); ++i) {
    was += static_cast<double>(before[i]) * static_cast<double>(before[i]);
    is += static_cast<double>(after[i]) * static_cast<double>(after[i]);
  }
  return 10.0 * std::log10(is / was);
}

}  // namespace

TEST_CASE("a tone in the band is kept within half a decibel, outside it loses more than 40 dB") {
  const auto shaft = sweep();
  const auto alone = [&](double hz) {
    const auto sound = tone(hz);
    return change_db(sound, band_alone(sound, rate_hz, 1000_Hz, 2000_Hz, shaft, std::vector<double>{}));
  };
  CHECK(std::abs(alone(1050.0)) < 0.5);
  CHECK(std::abs(alone(1500.0)) < 0.5);
  CHECK(alone(850.0) < -40.0);
  CHECK(alone(2200.0) < -40.0);
  CHECK(alone(100.0) < -40.0);
}

TEST_CASE("a healthy tone in the band loses more than 40 dB while the speed sweeps, its neighbour stays") {
  const auto shaft = sweep();
  const std::vector<double> notched{150.0};
  const auto healthy = tone_of_order(shaft, 150.0), neighbour = tone_of_order(shaft, 153.7);
  CHECK(change_db(healthy, band_alone(healthy, rate_hz, 1000_Hz, 2000_Hz, shaft, notched)) < -40.0);
  CHECK(std::abs(change_db(neighbour, band_alone(neighbour, rate_hz, 1000_Hz, 2000_Hz, shaft, notched))) <
        0.5);
}

TEST_CASE("a beat comes out louder against the pauses, and noise is given none") {
  const auto shaft = sweep();
  std::mt19937 random(4);
  std::normal_distribution<double> normal(0.0, 0.1);
  std::vector<float> noise(static_cast<std::size_t>(duration_s * rate_hz)), knocking(noise.size());
  // 6.6 knocks a turn, a fifth of the time, twice as loud as the noise.
  const auto in_knock = [&](std::size_t i) {
    const double turned = 6.6 * shaft.at(static_cast<double>(i) / rate_hz) + 0.3;
    return turned - std::floor(turned) < 0.2;
  };
  for (std::size_t i = 0; i < noise.size(); ++i) {
    noise[i] = static_cast<float>(normal(random));
    knocking[i] = (in_knock(i) ? 2.0f : 1.0f) * static_cast<float>(normal(random));
  }
  const auto contrast = [&](const std::vector<float>& samples) {
    double knock = 0.0, pause = 0.0;
    for (std::size_t i = 0; i < samples.size(); ++i) {
      const double power = static_cast<double>(samples[i]) * static_cast<double>(samples[i]);
      (in_knock(i) ? knock : pause) += power / (in_knock(i) ? 0.2 : 0.8);
    }
    return 10.0 * std::log10(knock / pause);
  };
  CHECK(contrast(knocking) == Approx(6.0).margin(0.3));
  CHECK(contrast(beat_brought_out(knocking, rate_hz, shaft, 6.6)) > 9.0);
  CHECK(std::abs(contrast(beat_brought_out(noise, rate_hz, shaft, 6.6))) < 1.0);
}

TEST_CASE("gain is matched to -20 dB, or less where a click would pass full scale") {
  const auto quiet = gain_matched(std::vector<float>(tone(500.0)));
  double sum = 0.0;
  for (const float s : quiet) sum += static_cast<double>(s) * static_cast<double>(s);
  CHECK(std::sqrt(sum / static_cast<double>(quiet.size())) == Approx(0.1).epsilon(1e-3));
  std::vector<float> click(1000, 1e-4f);
  click[500] = 0.01f;
  const auto loud = gain_matched(click);
  CHECK(*std::max_element(loud.begin(), loud.end()) <= 0.98f);
  CHECK(gain_matched(std::vector<float>(10)) == std::vector<float>(10));
}

TEST_CASE(
    "of a synthesised bearing its own band is given, without the engine's orders and below full scale") {
  const RunSound run = test::driven(small_car(), "pinion_head", 8.0);
  const auto heard = listen(small_car(), {run}, {});
  REQUIRE(heard);
  CHECK(heard->part == "pinion_head");
  CHECK(heard->low < heard->high);
  CHECK_FALSE(heard->notched.empty());
  CHECK(heard->samples.size() == run.recording.samples.size());
  CHECK(std::all_of(heard->samples.begin(), heard->samples.end(),
                    [](float s) { return std::abs(s) <= 0.98f; }));
  CHECK(heard->beat.value() == 0.0);
  const auto beating = listen(small_car(), {run}, {"", {}, {}, Emphasis::beat});
  REQUIRE(beating);
  CHECK(beating->beat.value() > 10.0);
  CHECK(beating->samples != heard->samples);
  CHECK_THAT(listen(small_car(), {run}, {"gizmo", {}, {}}).error().sentence, Contains("no part \"gizmo\""));
  CHECK_THAT(listen(small_car(), {run}, {"", {}, 4}).error().sentence, Contains("no run 5"));
  CHECK_THAT(listen(small_car(), {run}, {"pinion_head", Fault::worn_teeth, {}}).error().sentence,
             Contains("can't have"));
}
