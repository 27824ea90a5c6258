// UN Regulation No. 39, paragraph 5.3 (CELEX 42010X0513(03)): 0 <= V1 - V2 <= V2 / 10 + 4 km/h.
#include "gearhark/units/speedometer.hpp"

#include <catch2/catch.hpp>
#include <utility>

using namespace gearhark;
using namespace gearhark::literals;

TEST_CASE("the highest lawful reading matches the pairs published with UN Regulation 39") {
  // True and highest indicated km/h, as published by users of the rule; exact.
  for (const auto& [true_kmh, highest_kmh] :
       {std::pair{50.0, 59.0}, {70.0, 81.0}, {80.0, 92.0}, {90.0, 103.0}, {110.0, 125.0}, {130.0, 147.0}}) {
    const SpeedRange range = lawful_readings(Speed(true_kmh / 3.6));
    CHECK(range.high.value() * 3.6 == Approx(highest_kmh).epsilon(1e-12));
    CHECK(range.low.value() * 3.6 == Approx(true_kmh).epsilon(1e-12));
  }
  CHECK(lawful_readings(70_mph).high.value() / 0.44704 == Approx(79.5).margin(0.02));
}

TEST_CASE("true speeds of a reading are those whose lawful readings include it") {
  for (const double kmh : {10.0, 59.0, 147.0}) {
    const SpeedRange range = true_speeds(Speed(kmh / 3.6));
    CHECK(lawful_readings(range.low).high.value() * 3.6 == Approx(kmh));
    CHECK(range.high.value() * 3.6 == Approx(kmh));
  }
  CHECK(true_speeds(3_kmh).low.value() == 0.0);
}
