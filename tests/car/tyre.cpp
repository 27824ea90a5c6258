// Tyre sizes against published diameters and turns per mile; the source is named at each check.
#include "gearhark/car/tyre.hpp"

#include <catch2/catch.hpp>
#include <utility>

using namespace gearhark;
using Catch::Matchers::Contains;

namespace {

TyreSize size_of(const char* designation) {
  const auto size = parse_tyre_size(designation);
  INFO(designation << (size ? std::string() : ": " + size.error().sentence));
  REQUIRE(size);
  return *size;
}

double turns_per_second(const char* designation, double mph) {
  return mph * 0.44704 / size_of(designation).rolling_circumference.value();
}

}  // namespace

TEST_CASE("metric sizes have the overall diameters of ISO 4000-1") {
  // Rule from memory (rim + twice the height rounded to whole millimetres, half up); exact.
  for (const auto& [designation, mm] : {std::pair{"155/80R15", 629.0},
                                        {"165/80R13", 594.0},
                                        {"175/70R14", 602.0},
                                        {"185/65R15", 621.0},
                                        {"185/70R13", 590.0},
                                        {"185/70R14", 616.0},
                                        {"195/50R15", 577.0},
                                        {"215/65R17", 712.0},
                                        {"205/55R16", 632.0}})
    CHECK(size_of(designation).overall_diameter.value() * 1000 == Approx(mm).epsilon(1e-12));
}

TEST_CASE("two saloon tyres turn as often as service literature says") {
  // Service literature (general), 2003: 1.00 per second at 5 mph; 1.06-1.07 at 5 mph and 12.84 Hz at 60 mph.
  CHECK(turns_per_second("P235/75R15", 5) == Approx(1.00).margin(0.005));
  CHECK(turns_per_second("P235/60R16", 5) == Approx(1.065).margin(0.005));
  CHECK(turns_per_second("P235/60R16", 60) == Approx(12.84).epsilon(0.006));
}

TEST_CASE("the rolling factor reproduces published turns per mile of light-truck tyres") {
  // A tyre maker's size tables: overall diameter in inches, turns per mile. Tolerance 0.2 %.
  for (const auto& [inch, turns] :
       {std::pair{31.7, 655.0}, {30.5, 682.0}, {32.8, 633.0}, {34.6, 601.0}, {33.1, 628.0}, {30.7, 676.0}})
    CHECK(turns_per_mile(rolling_circumference(Length(inch * 0.0254))) == Approx(turns).epsilon(0.002));
}

TEST_CASE("data-book turns per mile of two small sizes lie within the stated tolerance") {
  // A kit car builders' data page: 881 and 954 turns per mile.
  for (const auto& [designation, turns] : {std::pair{"185/70-13", 881.0}, {"185/60-13", 954.0}}) {
    const TyreSize size = size_of(designation);
    CHECK(turns_per_mile(size.rolling_circumference) == Approx(turns).epsilon(size.relative_tolerance));
  }
}

TEST_CASE("cross-plies lie within their wide tolerance of what has been measured or remembered") {
  // A magazine article on tyre sizes, 1973: rolling circumference of 5.90-15 in two makes 79.5 and 81 in.
  const TyreSize size = size_of("5.90-15");
  for (const double inch : {79.5, 81.0})
    CHECK(size.rolling_circumference.value() == Approx(inch * 0.0254).epsilon(size.relative_tolerance));
  // Overall diameters from memory, good to 2 %.
  for (const auto& [designation, mm] : {std::pair{"5.20-13", 582.0},
                                        {"5.60-13", 600.0},
                                        {"5.60-15", 650.0},
                                        {"6.40-15", 690.0},
                                        {"6.00-16", 728.0},
                                        {"6.50-16", 748.0},
                                        {"7.00-16", 778.0}})
    CHECK(size_of(designation).overall_diameter.value() * 1000 == Approx(mm).epsilon(0.02));
}

TEST_CASE("sizes read with speed letters, spaces and small letters, and a radial without aspect counts as 80") {
  CHECK(size_of("165SR15").overall_diameter == size_of("165/80R15").overall_diameter);
  CHECK(size_of("165 R 15").overall_diameter == size_of("165R15").overall_diameter);
  CHECK(size_of("185/70hr14").overall_diameter == size_of("185/70 R14").overall_diameter);
}

TEST_CASE("a size that can't be read says how to measure instead") {
  for (const auto* text :
       {"", "big", "G78-15", "165", "165R", "999/80R15", "165R99", "5.60x15", "185/70R14/2"}) {
    INFO(text);
    const auto size = parse_tyre_size(text);
    REQUIRE_FALSE(size);
    CHECK_THAT(size.error().sentence, Contains("165R15") && Contains("roll_out"));
  }
}
