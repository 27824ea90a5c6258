#include "gearhark/speed/angle_search.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <complex>

#include "gearhark/signal/resample.hpp"
#include "synthetic.hpp"

using namespace gearhark;

namespace {

constexpr double kRate = 8000.0;

// Firing orders of a four-cylinder at 4.1 engine turns per wheel turn, a final drive of 41 teeth and a gear
// pair; order 200 is for the test of what resampling keeps.
const std::vector<synthetic::Tone> kCar = {{8.2, 0.05},   {16.4, 0.04},  {24.6, 0.02},
                                           {41.0, 0.05},  {82.0, 0.03},  {123.0, 0.01},
                                           {119.0, 0.04}, {238.0, 0.02}, {200.0, 0.03}};

std::vector<TrackingLine> lines_of_car() {
  std::vector<TrackingLine> lines;
  for (const auto& tone : kCar)
    if (tone.order != 200.0)
      lines.push_back(
          {tone.order, 0.5, tone.order < 30.0 ? LineSource::engine : LineSource::gear, lines.size()});
  return lines;
}

FoundAngle find(const std::vector<float>& samples, const RatePrior& prior) {
  return AngleSearch(samples, kRate, prior).find(lines_of_car());
}

RatePrior sweep_prior(double seconds, double first, double last) {
  RatePrior prior = synthetic::steady_prior(seconds, first);
  std::vector<double> rates(prior.nominal.turns.size());
  for (std::size_t i = 0; i < rates.size(); ++i)
    rates[i] = first + (last - first) * static_cast<double>(i) / static_cast<double>(rates.size() - 1);
  prior.nominal = integrate(rates, prior.nominal.step_s);
  prior.steadiness = Steadiness::changing;
  return prior;
}

double steady(double t) { return 10.0 * (1.0 + 0.004 * std::sin(0.9 * t)); }

// Share of the energy within 3 cycles per second of a line at `order` that is in its bin, over 4 s of equal
// angle.
double kept_in_bin(const std::vector<float>& samples, const AngleTrack& track, double order) {
  const double seconds = 4.0, from = 3.0, mean = track.mean_rate();
  const auto n = static_cast<std::size_t>(seconds * kRate);
  std::vector<double> times(n);
  double near = from;
  for (std::size_t i = 0; i < n; ++i)
    times[i] = near = track.time_of(track.at(from) + mean * static_cast<double>(i) / kRate, near);
  const std::vector<float> even = resample_at(samples, kRate, times);
  double best = 0.0, all = 0.0;
  for (int bin = -12; bin <= 12; ++bin) {
    std::complex<double> sum = 0.0;
    const double hz = order * mean + bin / seconds;
    for (std::size_t i = 0; i < n; ++i)
      sum += static_cast<double>(even[i]) *
             std::polar(1.0, -2.0 * std::numbers::pi * hz * static_cast<double>(i) / kRate);
    all += std::norm(sum);
    best = std::max(best, std::norm(sum));
  }
  return best / all;
}

}  // namespace

TEST_CASE("a speed that the needle shows 5 % high is found to 0.02 %") {
  const auto samples = synthetic::sound(10.0, kRate, kCar, 0.1, steady);
  const auto found = find(samples, synthetic::steady_prior(10.0, 10.5));
  CHECK(found.track.mean_rate() == Approx(synthetic::mean_rate(10.0, steady)).epsilon(2e-4));
  CHECK(found.certainty == Certainty::sure);
}

TEST_CASE("scaling the stated speed within its prior leaves the found angle the same") {
  const auto samples = synthetic::sound(10.0, kRate, kCar, 0.1, steady);
  const auto low = find(samples, synthetic::steady_prior(10.0, 9.7)),
             high = find(samples, synthetic::steady_prior(10.0, 11.2));
  for (const double t : {1.0, 3.0, 5.0, 9.0})  // turns; 0.003 turns are 1 cycle at order 330
    CHECK(low.track.at(t) - low.track.at(0.5) == Approx(high.track.at(t) - high.track.at(0.5)).margin(0.003));
}

TEST_CASE("doubling the speed doubles every rate and no order") {
  const auto slow = [](double t) { return 0.5 * steady(t); };
  const auto at_slow =
      find(synthetic::sound(10.0, kRate, kCar, 0.1, slow), synthetic::steady_prior(10.0, 5.2));
  const auto at_fast =
      find(synthetic::sound(10.0, kRate, kCar, 0.1, steady), synthetic::steady_prior(10.0, 10.4));
  CHECK(at_fast.track.mean_rate() / at_slow.track.mean_rate() == Approx(2.0).epsilon(4e-4));
  REQUIRE(at_fast.lines.size() == at_slow.lines.size());
  for (std::size_t i = 0; i < at_fast.lines.size(); ++i)
    CHECK(at_fast.lines[i].line.order == at_slow.lines[i].line.order);
}

TEST_CASE("a coast-down played backwards is found as a sweep") {
  const auto falling = [](double t) { return 13.0 - 0.6 * t + 0.01 * t * t; };
  auto samples = synthetic::sound(10.0, kRate, kCar, 0.1, falling);
  const double truth = synthetic::mean_rate(10.0, falling);
  const auto coast = find(samples, sweep_prior(10.0, 13.4, 8.2));
  std::reverse(samples.begin(), samples.end());
  const auto sweep = find(samples, sweep_prior(10.0, 8.2, 13.4));
  CHECK(coast.track.mean_rate() == Approx(truth).epsilon(4e-4));
  CHECK(sweep.track.mean_rate() == Approx(truth).epsilon(4e-4));
  CHECK(sweep.track.rate_at(2.0) == Approx(coast.track.rate_at(8.0)).epsilon(1e-3));
  CHECK(sweep.track.rate_at(8.0) > sweep.track.rate_at(2.0));
}

// Closed form: a rate a + b t gives the angle a t + b t^2 / 2.
TEST_CASE("the angle of a linear sweep is that of the closed form") {
  const double a = 8.0, b = 0.5;
  const auto samples = synthetic::sound(10.0, kRate, kCar, 0.1, [&](double t) { return a + b * t; });
  const auto found = find(samples, sweep_prior(10.0, 8.3, 13.5));
  const auto closed = [&](double t) { return a * t + 0.5 * b * t * t; };
  for (const double t : {2.0, 5.0, 8.0})
    CHECK(found.track.at(t) - found.track.at(1.0) == Approx(closed(t) - closed(1.0)).margin(0.005));
}

TEST_CASE("four fifths of an order-200 line stay in its bin") {
  SECTION("at a steady speed") {
    const auto samples = synthetic::sound(10.0, kRate, kCar, 0.1, steady);
    CHECK(kept_in_bin(samples, find(samples, synthetic::steady_prior(10.0, 10.5)).track, 200.0) > 0.8);
  }
  SECTION("in a sweep") {
    const auto samples = synthetic::sound(10.0, kRate, kCar, 0.1, [](double t) { return 8.0 + 0.5 * t; });
    CHECK(kept_in_bin(samples, find(samples, sweep_prior(10.0, 8.3, 13.5)).track, 200.0) > 0.8);
  }
}

TEST_CASE("noise alone is not sure of any speed") {
  const auto samples = synthetic::sound(10.0, kRate, {}, 0.1, steady);
  CHECK(find(samples, synthetic::steady_prior(10.0, 10.5)).certainty != Certainty::sure);
}

TEST_CASE("the car's own lines carry more evidence than those of another") {
  const auto samples = synthetic::sound(10.0, kRate, kCar, 0.1, steady);
  const AngleSearch search(samples, kRate, synthetic::steady_prior(10.0, 10.5));
  auto other = lines_of_car();
  for (auto& line : other) line.order *= line.source == LineSource::engine ? 1.37 : 1.0;
  CHECK(search.evidence_per_s(lines_of_car()) > search.evidence_per_s(other) + 1.5);
}

TEST_CASE("the gears alone are put at the angle that all lines led to, unless they lead elsewhere") {
  const auto samples = synthetic::sound(10.0, kRate, kCar, 0.1, steady);
  const AngleSearch search(samples, kRate, synthetic::steady_prior(10.0, 10.5));
  std::vector<TrackingLine> gears = lines_of_car();
  std::erase_if(gears, [](const TrackingLine& line) { return line.source != LineSource::gear; });
  FoundAngle all = search.find(lines_of_car());
  const FoundAngle alone = search.find(gears),
                   along = search.find_with_fewer(gears, all, AngleSearch::IfLost::go_on);
  CHECK(along.heard == all.heard);
  CHECK(along.track.mean_rate() == Approx(alone.track.mean_rate()).epsilon(1e-4));
  CHECK(along.certainty == alone.certainty);
  REQUIRE(along.lines.size() == alone.lines.size());
  for (std::size_t i = 0; i < along.lines.size(); ++i)  // a track that is locked already shows more of them
    CHECK(along.lines[i].visible == Approx(alone.lines[i].visible).margin(0.2));
  for (double& turns : all.track.turns) turns *= 1.02;
  const FoundAngle elsewhere = search.find_with_fewer(gears, all, AngleSearch::IfLost::go_on);
  CHECK(elsewhere.heard != all.heard);
  CHECK(elsewhere.track.mean_rate() == alone.track.mean_rate());
}

TEST_CASE("a recording too short for a single spectrum is lost, not broken") {
  const std::vector<float> samples(800, 0.1f);
  const AngleSearch search(samples, kRate, synthetic::steady_prior(0.1, 10.0));
  CHECK_FALSE(search.long_enough());
  CHECK(search.find(lines_of_car()).certainty == Certainty::lost);
}

TEST_CASE("silence is lost") {
  const std::vector<float> samples(static_cast<std::size_t>(5 * kRate), 0.0f);
  CHECK(find(samples, synthetic::steady_prior(5.0, 10.0)).certainty == Certainty::lost);
}
