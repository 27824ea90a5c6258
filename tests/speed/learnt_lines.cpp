#include "../../src/speed/learnt_lines.hpp"

#include <catch2/catch.hpp>

#include "synthetic.hpp"

using namespace gearhark;
using namespace gearhark::tracking;

TEST_CASE("tread lines are learnt at the orders of their own tyre") {
  const auto rate = [](double t) { return 9.0 + 0.05 * t; };
  const auto samples =
      synthetic::sound(12.0, 8000.0, {{61.95, 0.05}, {62.10, 0.05}, {41.0, 0.1}}, 0.05, rate);
  std::vector<double> rates;
  for (int i = 0; i <= 240; ++i) rates.push_back(rate(0.05 * i));
  Line mesh;
  mesh.kind = LineKind::mesh;
  mesh.rate.wheel = 41.0;
  const auto found = unlisted_orders({samples, 8000.0}, integrate(rates, 0.05), std::vector{mesh}, 4.1);
  for (const auto& f : found) UNSCOPED_INFO(f.order << " " << f.ratio);
  REQUIRE(found.size() == 2);
  const double low = std::min(found[0].order, found[1].order),
               high = std::max(found[0].order, found[1].order);
  CHECK(low == Approx(61.95).margin(0.01));
  CHECK(high == Approx(62.10).margin(0.01));
}

TEST_CASE("a line that stays at its order while the gear changes counts most") {
  const std::vector<HeardOrders> runs = {{Gear{"3"}, {{62.0, 50.0}, {85.3, 20.0}}},
                                         {Gear{"4"}, {{62.01, 40.0}, {71.9, 20.0}}}};
  const auto lines = learnt_lines(runs);
  REQUIRE(lines.size() == 3);
  CHECK(lines[0].order == Approx(62.0));
  CHECK(lines[0].visible > 2.0 * lines[1].visible);
  CHECK(learnt_lines({}).empty());
}
