#include "gearhark/car/orders.hpp"

#include "cars.hpp"

using namespace gearhark;
using namespace gearhark::testing;
using namespace gearhark::literals;
using Catch::Matchers::Contains;

namespace {

OrderTable table(const Car& car, const OrdersQuestion& question) {
  const auto t = order_table(car, question);
  INFO((t ? std::string() : t.error().sentence));
  REQUIRE(t);
  return *t;
}

const std::string with_bearing = transaxle +
                                 "[[bearing]]\nid = \"b\"\nshaft = \"input\"\nelements = 9\nelement_diameter "
                                 "= \"7.94 mm\"\npitch_diameter = \"39.04 mm\"\n";

}  // namespace

TEST_CASE("doubling the speed doubles every frequency and no order") {
  const Car car = car_from(with_bearing);
  const auto slow = table(car, {{{"1"}}, 30_kmh, {}}), fast = table(car, {{{"1"}}, 60_kmh, {}});
  REQUIRE(slow.rows.size() == fast.rows.size());
  REQUIRE(slow.rows.size() > 10);
  for (std::size_t i = 0; i < slow.rows.size(); ++i) {
    CHECK(fast.rows[i].frequency->value() == Approx(2.0 * slow.rows[i].frequency->value()));
    CHECK(fast.rows[i].per_wheel == slow.rows[i].per_wheel);
    CHECK(fast.rows[i].per_engine == slow.rows[i].per_engine);
  }
}

TEST_CASE("rows come lowest first, and frequency is order times turns of either shaft") {
  const auto t = table(car_from(with_bearing), {{{"1"}}, 36_kmh, {}});
  CHECK(t.wheel->value() == Approx(5.0));  // 10 m/s on 2 m
  for (std::size_t i = 0; i < t.rows.size(); ++i) {
    const auto& row = t.rows[i];
    CHECK(row.frequency->value() == Approx((*row.per_wheel * *t.wheel).value()));
    CHECK(row.frequency->value() == Approx((*row.per_engine * *t.engine).value()));
    if (i > 0) CHECK(row.frequency->value() >= t.rows[i - 1].frequency->value());
  }
}

TEST_CASE("in neutral, engine parts have an engine order and no frequency until the engine speed is given") {
  const Car car = car_from(with_bearing);
  const auto firing = [](const OrderTable& t) {
    for (const auto& row : t.rows)
      if (row.happening == "fires") return row;
    FAIL("no firing row");
    return OrderRow{};
  };
  const auto without = firing(table(car, {{{"N"}}, 36_kmh, {}}));
  CHECK_FALSE(without.frequency);
  CHECK_FALSE(without.per_wheel);
  CHECK(without.per_engine->value() == Approx(2.0));
  const auto with = firing(table(car, {{{"N"}}, 36_kmh, ShaftRate(15)}));
  CHECK(with.frequency->value() == Approx(30.0));
}

TEST_CASE("the tyre's tolerance enters frequencies from road speed, and not orders") {
  const auto t = table(car_from(with_bearing), {{{"1"}}, 36_kmh, {}});
  for (const auto& row : t.rows) {
    CHECK(row.frequency_high == Approx(row.high + 0.005));
    CHECK(row.frequency_low == Approx(row.low - 0.005));
  }
}

TEST_CASE("a bearing of which only the count is known shows a range that holds the true line") {
  std::string text = with_bearing;
  text.erase(text.find("element_diameter"));
  const auto known = table(car_from(with_bearing), {{{"1"}}, {}, {}}),
             counted = table(car_from(text), {{{"1"}}, {}, {}});
  const auto outer = [](const OrderTable& t) {
    for (const auto& row : t.rows)
      if (row.part == "b" && row.happening.find("outer race") != std::string::npos) return row;
    FAIL("no outer race row");
    return OrderRow{};
  };
  const double truth = outer(known).per_wheel->value(), middle = outer(counted).per_wheel->value();
  CHECK(middle * (1 + outer(counted).low) < truth);
  CHECK(middle * (1 + outer(counted).high) > truth);
  CHECK_THAT(outer(counted).happening, Contains("9 elements"));
}

TEST_CASE("an impossible question gets a sentence") {
  const Car car = car_from(transaxle);
  for (const double kmh : {0.0, -5.0, 900.0 * 1.609344}) {
    const auto t = order_table(car, {{{"1"}}, Speed(kmh / 3.6), {}});
    REQUIRE_FALSE(t);
    CHECK_THAT(t.error().sentence, Contains("above 0"));
  }
  CHECK_FALSE(order_table(car, {{{"9"}}, 36_kmh, {}}));
  CHECK_FALSE(order_table(car, {{{"1"}}, 36_kmh, ShaftRate(20)}));
}
