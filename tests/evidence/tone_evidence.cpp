#include "gearhark/evidence/tone_evidence.hpp"

#include <catch2/catch.hpp>

using namespace gearhark;
using namespace gearhark::literals;

namespace {

constexpr double turns = 400.0, mesh = 31.0, modulation = 4.3;
const Hertz highest(6500.0);

// 400 turns at 10 turns a second: flat noise, and lines of 100 times its power at these orders.
OrderSpectrum with_lines(const std::vector<double>& orders) {
  OrderSpectrum out;
  out.turns = turns;
  out.mean_rate = 10.0;
  out.power.assign(static_cast<std::size_t>(400 * turns), 1.0f);
  out.background = out.power;
  for (const double order : orders) out.power[out.bin(order)] = 101.0f;
  return out;
}

std::vector<double> sidebands(std::initializer_list<int> at) {
  std::vector<double> orders;
  for (int h = 1; h <= mesh_harmonics; ++h)
    for (const int k : at) orders.push_back(h * mesh + k * modulation);
  return orders;
}

double evidence(const std::vector<double>& orders) {
  return mesh_evidence(with_lines(orders), mesh, modulation, highest)->sidebands.value();
}

}  // namespace

TEST_CASE("pairs of sidebands close to a mesh are evidence of wear, their mean in dB") {
  CHECK(evidence(sidebands({-2, -1, 1, 2})) == Approx(20.04).margin(0.05));
  CHECK(evidence(sidebands({-1, 1})) == Approx(10.02).margin(0.05));
  CHECK(evidence({}) == Approx(0.0).margin(0.01));
}

TEST_CASE("a sideband on one side alone is another line by chance") {
  CHECK(evidence(sidebands({1, 2})) == Approx(0.0).margin(0.01));
}

TEST_CASE("a shaft that sounds at all its orders is not a worn gear") {
  CHECK(evidence(sidebands({-7, -6, -5, -4, -3, -2, -1, 1, 2, 3, 4, 5, 6, 7})) == Approx(0.0).margin(0.05));
}

TEST_CASE("a mesh above what the recording holds gives no evidence") {
  CHECK_FALSE(mesh_evidence(with_lines({}), 700.0, modulation, highest));
}
