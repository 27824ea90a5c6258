#include "gearhark/speed/angle_track.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

using namespace gearhark;

TEST_CASE("a track of constant rate is a straight line, also beyond its ends") {
  const AngleTrack track = integrate(std::vector<double>(21, 10.0), 0.05);
  CHECK(track.at(0.5) == Approx(5.0));
  CHECK(track.at(-0.1) == Approx(-1.0));
  CHECK(track.at(1.2) == Approx(12.0));
  CHECK(track.rate_at(0.33) == Approx(10.0));
  CHECK(track.mean_rate() == Approx(10.0));
}

// Rate 8 + t: angle 8 t + t^2 / 2; the trapezoidal rule is exact for it.
TEST_CASE("a linear sweep is exact between the nodes") {
  std::vector<double> rates;
  for (int i = 0; i <= 40; ++i) rates.push_back(8.0 + 0.05 * i);
  const AngleTrack track = integrate(rates, 0.05);
  for (const double t : {0.31, 0.975, 1.612})
    CHECK(track.at(t) == Approx(8.0 * t + 0.5 * t * t).epsilon(1e-6));
  CHECK(track.time_of(track.at(1.234), 0.0) == Approx(1.234).epsilon(1e-8));
}

TEST_CASE("angles read in a row, or some of them, are those read one by one") {
  AngleTrack track;
  for (int i = 0; i <= 30; ++i) track.turns.push_back(0.5 * i + 0.2 * std::sin(0.9 * i));
  const double rate_hz = 441.0;
  std::vector<double> all(800);  // the last beyond the track's end, 1.5 s
  track.at_each(rate_hz, 0, all);
  for (std::size_t i = 0; i < all.size(); ++i)
    REQUIRE(all[i] == Approx(track.at(static_cast<double>(i) / rate_hz)).margin(1e-12));
  for (std::size_t first = 0; first < all.size(); first += 37) {
    std::vector<double> some(std::min<std::size_t>(50, all.size() - first));
    track.at_each(rate_hz, first, some);
    for (std::size_t i = 0; i < some.size(); ++i) REQUIRE(some[i] == all[first + i]);
  }
}
