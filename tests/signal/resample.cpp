// Resampling against closed forms: what comes out must be the signal itself at another moment.
#include "gearhark/signal/resample.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

#include "gearhark/signal/windows.hpp"

using namespace gearhark;

namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;

// A linear chirp in closed form: frequency from f0 to f1 over `duration` seconds.
struct Chirp {
  double f0, f1, duration;
  [[nodiscard]] double operator()(double t) const {
    return std::sin(two_pi * (f0 * t + 0.5 * (f1 - f0) / duration * t * t));
  }
};

template <class Signal>
std::vector<float> sampled(const Signal& signal, double rate, std::size_t count) {
  std::vector<float> out(count);
  for (std::size_t i = 0; i < count; ++i) out[i] = static_cast<float>(signal(static_cast<double>(i) / rate));
  return out;
}

auto tone(double hz) {
  return [hz](double t) { return std::sin(two_pi * hz * t + 0.3); };
}

// 20 lg of the largest difference, ends left out.
template <class Signal>
double worst_db(std::span<const float> got, const Signal& wanted, std::span<const double> times,
                std::size_t skip) {
  double worst = 1e-12;
  for (std::size_t i = skip; i + skip < got.size(); ++i)
    worst = std::max(worst, std::abs(static_cast<double>(got[i]) - wanted(times[i])));
  return 20.0 * std::log10(worst);
}

std::vector<double> regular(double rate, std::size_t count) {
  std::vector<double> out(count);
  for (std::size_t i = 0; i < count; ++i) out[i] = static_cast<double>(i) / rate;
  return out;
}

double peak(std::span<const float> values, std::size_t skip) {
  float worst = 0.0f;
  for (std::size_t i = skip; i + skip < values.size(); ++i) worst = std::max(worst, std::abs(values[i]));
  return static_cast<double>(worst);
}

}  // namespace

TEST_CASE("a swept tone below 0.4 of the rate is read at uneven moments within -80 dB of its closed form") {
  const double rate = 8000.0;
  const Chirp chirp{50.0, 0.4 * rate, 2.0};
  const auto samples = sampled(chirp, rate, 16000);
  std::mt19937 random(1);
  std::uniform_real_distribution<double> step(0.1 / rate, 1.0 / rate);
  std::vector<double> times;
  for (double t = 0.01; t < 1.99; t += step(random)) times.push_back(t);
  CHECK(worst_db(resample_at(samples, rate, times), chirp, times, 0) < -80.0);
}

TEST_CASE("a 4 kHz tone at 48 kHz is read within 1e-5 by the 32-tap table") {
  const auto samples = sampled(tone(4000.0), 48000.0, 4800);
  std::vector<double> times;
  for (double t = 0.01; t < 0.09; t += 1.0 / 50123.0) times.push_back(t);
  CHECK(worst_db(resample_at(samples, 48000.0, times), tone(4000.0), times, 0) < 20.0 * std::log10(2e-5));
}

TEST_CASE(
    "a line locked to a shaft is a pure tone per turn while the shaft speeds up from 10 to 30 turns/s") {
  const double rate = 16000.0, order = 40.0, from = 10.0, to = 30.0, duration = 2.0;
  const Chirp mesh{order * from, order * to, duration};
  const auto samples = sampled(mesh, rate, static_cast<std::size_t>(rate * duration));
  // turns(t) = from t + (to - from) t^2 / (2 duration), solved for t at equal steps of the angle.
  std::vector<double> times, steps;
  for (double turns = 1.0; turns < 39.0; turns += 1.0 / 1600.0) {
    const double a = (to - from) / (2.0 * duration);
    times.push_back((-from + std::sqrt(from * from + 4.0 * a * turns)) / (2.0 * a));
    steps.push_back(turns);
  }
  const auto by_angle = resample_at(samples, rate, times);
  double worst = 0.0;
  for (std::size_t i = 0; i < by_angle.size(); ++i)
    worst = std::max(worst, std::abs(static_cast<double>(by_angle[i]) - std::sin(two_pi * order * steps[i])));
  CHECK(20.0 * std::log10(worst) < -80.0);
}

TEST_CASE("reading at fewer moments than samples removes what they could not hold and keeps the rest") {
  const double rate = 48000.0, slow = 10000.0;
  const auto times = regular(slow, 2000);
  const auto too_high = resample_at(sampled(tone(0.62 * slow), rate, 9600), rate, times);
  CHECK(20.0 * std::log10(peak(too_high, 100)) < -80.0);
  const auto kept = resample_at(sampled(tone(0.36 * slow), rate, 9600), rate, times);
  CHECK(worst_db(kept, tone(0.36 * slow), times, 100) < -80.0);
}

TEST_CASE("a jump in the times changes no value beside it") {
  const auto samples = sampled(tone(1000.0), 8000.0, 8000);
  std::vector<double> times = regular(8000.0, 400);
  for (std::size_t i = 0; i < times.size(); ++i) times[i] += i < 200 ? 0.1 : 0.7;
  CHECK(worst_db(resample_at(samples, 8000.0, times), tone(1000.0), times, 0) < -80.0);
}

TEST_CASE("a moment is read the same alone with its neighbours as among thousands, whatever their spacing") {
  // Wobbles about the spacing at which the kernel changes, and runs out of both ends.
  const auto samples = sampled(tone(900.0), 8000.0, 6000);
  std::vector<double> times(6201);
  double at = -0.01;
  for (std::size_t i = 0; i < times.size(); ++i) {
    const double wobble = i < 3000 ? 0.1 * std::sin(0.01 * static_cast<double>(i)) : 0.001;
    times[i] = at;
    at += (1.0 + wobble) / 8000.0;
  }
  const auto all = resample_at(samples, 8000.0, times);
  CHECK(all.front() == 0.0f);
  CHECK(all.back() == 0.0f);
  float worst = 0.0f;
  for (std::size_t i = 1; i + 1 < times.size(); ++i) {
    const auto three = resample_at(samples, 8000.0, std::span(times).subspan(i - 1, 3));
    worst = std::max(worst, std::abs(three[1] - all[i]));
  }
  CHECK(worst < 1e-6f);
}

TEST_CASE("moments that are no numbers read silence and spoil no others") {
  const auto samples = sampled(tone(900.0), 8000.0, 4000);
  auto times = regular(8000.0, 4000);
  for (double& t : times) t += 0.3 / 8000.0;
  const auto right = resample_at(samples, 8000.0, times);
  times[1000] = std::nan("");
  const auto got = resample_at(samples, 8000.0, times);
  CHECK(got[1000] == 0.0f);
  for (std::size_t i = 0; i < got.size(); ++i)
    if (i < 999 || i > 1001) CHECK(got[i] == Approx(right[i]).margin(1e-6));
}

TEST_CASE("outside the recording there is silence, and an empty recording is silent everywhere") {
  const std::vector<float> ones(100, 1.0f);
  const std::vector<double> times{-5.0, -4.9995, -0.0165, -0.016, 0.05, 0.0505, 0.1165, 0.117, 9.0, 9.0005};
  for (std::size_t i = 0; i < times.size(); ++i)
    CHECK(resample_at(ones, 1000.0, times)[i] == Approx(i == 4 || i == 5 ? 1.0 : 0.0).margin(1e-4));
  CHECK(resample_at({}, 1000.0, times) == std::vector<float>(times.size(), 0.0f));
  CHECK(resample({}, 44100.0, 16000.0).empty());
}

TEST_CASE("decimation keeps the pass band and drops what would fold back into it") {
  const double rate = 48000.0;
  for (const std::size_t factor : {2u, 3u, 6u}) {
    const double low = rate / static_cast<double>(factor);
    INFO("factor " << factor);
    const auto kept = decimate(sampled(tone(0.41 * low), rate, 24000), factor);
    CHECK(worst_db(kept, tone(0.41 * low), regular(low, kept.size()), 100) < -75.0);
    for (const double part : {0.51, 0.6, 0.9, 0.98}) {
      const auto dropped = decimate(sampled(tone(part * low), rate, 24000), factor);
      INFO("tone at " << part << " of the lower rate");
      CHECK(20.0 * std::log10(peak(dropped, 100)) < -80.0);
    }
  }
}

TEST_CASE("44.1 kHz becomes 16 kHz with the signal at the same moments") {
  const Chirp chirp{20.0, 0.41 * 16000.0, 1.0};
  const auto out = resample(sampled(chirp, 44100.0, 44100), 44100.0, 16000.0);
  REQUIRE(out.size() == 16000);
  CHECK(worst_db(out, chirp, regular(16000.0, out.size()), 100) < -75.0);
  const auto dropped = resample(sampled(tone(0.51 * 16000.0), 44100.0, 44100), 44100.0, 16000.0);
  CHECK(20.0 * std::log10(peak(dropped, 100)) < -80.0);
}

TEST_CASE("a rate in no whole-number ratio comes from the interpolated table as exactly") {
  const double to = 16000.0 * std::numbers::pi / 3.0;
  const Chirp chirp{20.0, 0.4 * to, 1.0};
  const auto out = resample(sampled(chirp, 44100.0, 44100), 44100.0, to);
  REQUIRE(out.size() == static_cast<std::size_t>(to));
  CHECK(worst_db(out, chirp, regular(to, out.size()), 100) < -75.0);
}

TEST_CASE("resampling up and back returns the samples") {
  std::mt19937 random(2);
  std::normal_distribution<float> noise;
  std::vector<float> wide(30000);
  for (auto& x : wide) x = noise(random);
  const auto source = decimate(wide, 3);  // nothing above half, little above 0.46 of its rate
  const auto low = resample(resample(source, 10000.0, 6000.0), 6000.0, 10000.0);
  const auto again = resample(resample(low, 10000.0, 27000.0), 27000.0, 10000.0);
  REQUIRE(again.size() >= low.size() - 2);
  double error = 0.0, power = 0.0;
  for (std::size_t i = 200; i + 200 < again.size(); ++i) {
    error += std::pow(static_cast<double>(again[i] - low[i]), 2);
    power += std::pow(static_cast<double>(low[i]), 2);
  }
  CHECK(10.0 * std::log10(error / power) < -75.0);
}
