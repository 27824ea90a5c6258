#include <catch2/catch.hpp>
#include <cmath>

#include "../../src/synthesis/filters.hpp"
#include "../../src/synthesis/random.hpp"
#include "../../src/synthesis/turning.hpp"

using namespace gearhark::synth;

TEST_CASE("the generator's numbers have the moments of their distributions") {
  Random random(7, "moments");
  constexpr int n = 40000;
  double uniform = 0.0, normal = 0.0, power = 0.0, fourth = 0.0, waiting = 0.0;
  for (int i = 0; i < n; ++i) {
    uniform += random.uniform() / n;
    const double g = random.gaussian();
    normal += g / n;
    power += g * g / n;
    fourth += g * g * g * g / n;
    waiting += random.exponential(3.0) / n;
  }
  CHECK(uniform == Approx(0.5).margin(0.006));  // 4 standard errors each
  CHECK(normal == Approx(0.0).margin(0.02));
  CHECK(power == Approx(1.0).margin(0.03));
  CHECK(fourth == Approx(3.0).margin(0.2));
  CHECK(waiting == Approx(3.0).margin(0.06));
}

TEST_CASE("streams of one seed are independent of each other") {
  Random a(1, "road"), b(1, "wind");
  double both = 0.0;
  for (int i = 0; i < 10000; ++i) both += a.gaussian() * b.gaussian() / 10000;
  CHECK(both == Approx(0.0).margin(0.04));
}

TEST_CASE("wander has the standard deviation asked for") {
  Random random(3);
  const auto track = wander(random, 400000, 0.001, 2.0, 0.1);
  double power = 0.0;
  for (double value : track) power += value * value / static_cast<double>(track.size());
  CHECK(std::sqrt(power) == Approx(2.0).epsilon(0.1));
}

TEST_CASE("a phase that grows by ten in a second is crossed ten times, evenly, and a falling one too") {
  std::vector<double> phase;
  for (int i = 0; i <= 1000; ++i) phase.push_back(0.01 * i);
  Random random(1);
  const auto times = crossings(phase, 0.001, 0.5, 0.0, random);
  REQUIRE(times.size() == 10);
  for (std::size_t i = 0; i < 10; ++i) CHECK(times[i] == Approx(0.05 + 0.1 * static_cast<double>(i)));
  for (double& value : phase) value = -value;
  CHECK(crossings(phase, 0.001, 0.5, 0.0, random) == times);
}

TEST_CASE("jitter keeps the mean spacing and spreads it by what was asked") {
  std::vector<double> phase;
  for (int i = 0; i <= 20000; ++i) phase.push_back(0.2 * i);
  Random random(5);
  const auto times = crossings(phase, 0.001, 0.0, 0.02, random);
  double squares = 0.0;
  for (std::size_t i = 1; i < times.size(); ++i)
    squares += std::pow((times[i] - times[i - 1]) * 200.0 - 1.0, 2.0);
  const auto n = static_cast<double>(times.size() - 1);
  CHECK(n / (times.back() - times.front()) == Approx(200.0).epsilon(0.002));
  CHECK(std::sqrt(squares / n) == Approx(0.02).epsilon(0.06));
}

TEST_CASE("an impact rings at its resonance and dies away at its damping") {
  Track impacts(4800, 0.0f);
  strike(impacts, 0.0, 1.0);
  const std::vector<Resonance> one{{1000.0, 0.02, 1.0}};
  const Track answer = ring(impacts, one);
  int crossings_up = 0;
  for (std::size_t i = 1; i < 480; ++i) crossings_up += answer[i - 1] < 0.0f && answer[i] >= 0.0f;
  CHECK(crossings_up == Approx(10).margin(1));  // 10 ms of 1 kHz
  const auto peak = [&](std::size_t from) {
    return *std::max_element(answer.begin() + static_cast<long>(from),
                             answer.begin() + static_cast<long>(from) + 48);
  };
  // Ten periods decay by exp(-2 pi 0.02 x 10).
  CHECK(peak(480) / peak(0) == Approx(std::exp(-2.0 * std::numbers::pi * 0.2)).epsilon(0.05));
}

TEST_CASE("a tone's power lies in its third-octave band") {
  Track tone(48000);
  for (std::size_t i = 0; i < tone.size(); ++i)
    tone[i] =
        static_cast<float>(std::sin(2.0 * std::numbers::pi * 1000.0 * static_cast<double>(i) / 48000.0));
  const auto bands = third_octaves(tone);
  REQUIRE(bands.size() == 28);  // 20 Hz to 10 kHz
  double all = 0.0;
  for (double band : bands) all += band;
  CHECK(bands[17] / all > 0.999);
}

TEST_CASE("shaped noise has RMS 1 and follows its response") {
  Random random(2);
  const Track noise = shaped_noise(96000, random, [](double hz) { return hz < 1000.0 ? 1.0 : 0.1; });
  CHECK(rms(noise) == Approx(1.0));
  const auto bands = third_octaves(noise);
  // 500 Hz against 2 kHz: 20 dB by the response, less 6.02 dB for the wider band.
  CHECK(10.0 * std::log10(bands[14] / bands[20]) == Approx(20.0 - 6.02).margin(1.0));
}

TEST_CASE("filters meet their names: 3 dB down at a Butterworth corner, the peak's gain at its centre") {
  const auto gain_db = [](const Section& section, double hz) {
    Track tone(24000);
    for (std::size_t i = 0; i < tone.size(); ++i)
      tone[i] = static_cast<float>(std::sin(2.0 * std::numbers::pi * hz * static_cast<double>(i) / 48000.0));
    const double before = rms(std::span(tone).last(12000));
    section.run(tone);
    return 20.0 * std::log10(rms(std::span(tone).last(12000)) / before);
  };
  CHECK(gain_db(Section::high_pass(200.0, std::sqrt(0.5)), 200.0) == Approx(-3.01).margin(0.05));
  CHECK(gain_db(Section::low_pass(2000.0, std::sqrt(0.5)), 2000.0) == Approx(-3.01).margin(0.05));
  CHECK(gain_db(Section::peak(500.0, 2.0, 6.0), 500.0) == Approx(6.0).margin(0.05));
}
