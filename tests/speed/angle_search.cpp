#include "gearhark/speed/angle_search.hpp"

#include <catch2/catch.hpp>

#include "synthetic.hpp"

using namespace gearhark;

namespace {

// Firing orders of a four-cylinder at 4.1 engine turns per wheel turn, a final drive of 41 teeth and a gear
// pair.
const std::vector<synthetic::Tone> kCar = {{8.2, 0.05},  {16.4, 0.04},  {24.6, 0.02},  {41.0, 0.05},
                                           {82.0, 0.03}, {123.0, 0.01}, {119.0, 0.04}, {238.0, 0.02}};

std::vector<TrackingLine> lines_of_car() {
  std::vector<TrackingLine> lines;
  for (const auto& tone : kCar)
    lines.push_back(
        {tone.order, 0.5, tone.order < 30.0 ? LineSource::engine : LineSource::gear, lines.size()});
  return lines;
}

FoundAngle find(const std::vector<float>& samples, double rate, const RatePrior& prior) {
  return AngleSearch(samples, rate, prior).find(lines_of_car());
}

}  // namespace

TEST_CASE("a speed that the needle shows 5 % high is found to 0.02 %") {
  const double tolerance = 2e-4;
  const auto rate = [](double t) { return 10.0 * (1.0 + 0.004 * std::sin(0.9 * t)); };
  const auto samples = synthetic::sound(10.0, 8000.0, kCar, 0.1, rate);
  const auto found = find(samples, 8000.0, synthetic::steady_prior(10.0, 10.5));
  CHECK(found.track.mean_rate() == Approx(synthetic::mean_rate(10.0, rate)).epsilon(tolerance));
  CHECK(found.certainty == Certainty::sure);
}
