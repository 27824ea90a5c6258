#include "gearhark/units/quantity.hpp"

#include <catch2/catch.hpp>
#include <limits>

using namespace gearhark;
using namespace gearhark::literals;

static_assert(Order(3.58) * ShaftRate(25.0) == Hertz(89.5));
static_assert(Speed(20.0) / Length(2.0) == ShaftRate(10.0));

TEST_CASE("an order times a shaft rate is a frequency, and divides back to the order") {
  for (const double order : {0.5, 3.58, 41.0})
    for (const double rate : {0.1, 10.0, 100.0})
      CHECK((Order(order) * ShaftRate(rate) / ShaftRate(rate)).value() == Approx(order));
}

TEST_CASE("literals carry their unit") {
  CHECK((72_kmh).value() == Approx(20.0));
  CHECK((45_mph).value() == Approx(20.1168));
  CHECK((0.25_in).value() == Approx(0.00635));
}

TEST_CASE("6 dB is about twice the amplitude and four times the power") {
  CHECK(Decibels::of_amplitude_ratio(2.0).value() == Approx(6.0206).epsilon(1e-5));
  CHECK(Decibels::of_power_ratio(4.0).value() == Approx(Decibels::of_amplitude_ratio(2.0).value()));
  CHECK(Decibels::already(20.0).amplitude_ratio() == Approx(10.0));
  CHECK(Decibels::already(20.0).power_ratio() == Approx(100.0));
}

TEST_CASE("a probability stays within 0 and 1, and not-a-number is 0") {
  CHECK(Probability(1.7).value() == 1.0);
  CHECK(Probability(-0.2).value() == 0.0);
  CHECK(Probability(std::numeric_limits<double>::quiet_NaN()).value() == 0.0);
  CHECK(Probability(0.3).complement().value() == Approx(0.7));
}
