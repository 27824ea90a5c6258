#include "gearhark/units/text.hpp"

#include <catch2/catch.hpp>

using namespace gearhark;
using Catch::Matchers::Contains;

TEST_CASE("a speed reads in each unit people write, with or without a space") {
  CHECK(parse_speed("45mph")->value.value() == Approx(20.1168));
  CHECK(parse_speed(" 72 km/h ")->value.value() == Approx(20.0));
  CHECK(parse_speed("72 kph")->unit == SpeedUnit::kmh);
  CHECK(parse_speed("20 m/s")->value.value() == Approx(20.0));
  // 1 knot = 1.852 km/h by definition.
  CHECK(parse_speed("22.4kn")->value.value() * 3.6 == Approx(41.4848));
  CHECK(parse_speed("45 MPH")->unit == SpeedUnit::mph);
}

TEST_CASE("a length reads in each unit people write") {
  CHECK(parse_length("0.008in")->value.value() == Approx(0.2032e-3));
  CHECK(parse_length("8thou")->value.value() == Approx(parse_length("0.008 in")->value.value()));
  CHECK(parse_length("0.2mm")->value.value() == Approx(0.0002));
  CHECK(parse_length("63.5cm")->value.value() == Approx(0.635));
  CHECK(parse_length("1.93 m")->value.value() == Approx(1.93));
}

TEST_CASE("a shaft speed and a time read") {
  CHECK(parse_shaft_rate("1800rpm")->value() == Approx(30.0));
  CHECK(parse_shaft_rate("29.5 Hz")->value() == Approx(29.5));
  CHECK(parse_shaft_rate("29.5 turns/s")->value() == Approx(29.5));
  CHECK(parse_time("90")->value() == Approx(90.0));
  CHECK(parse_time("90 s")->value() == Approx(90.0));
  CHECK(parse_time("1:30")->value() == Approx(90.0));
  CHECK(parse_time("0:01:30.5")->value() == Approx(90.5));
}

TEST_CASE("a number without a unit says which units there are") {
  const auto speed = parse_speed("45");
  REQUIRE_FALSE(speed);
  CHECK_THAT(speed.error().sentence, Contains("no unit") && Contains("45mph") && Contains("km/h"));
  const auto length = parse_length("0.008");
  REQUIRE_FALSE(length);
  CHECK_THAT(length.error().sentence, Contains("no unit") && Contains("thou"));
}

TEST_CASE("what is no quantity is refused with an example") {
  for (const auto* text : {"", "fast", "mph", "nan km/h", "inf km/h", "45 leagues", "4 5 km/h", "1e3 km/h"}) {
    INFO(text);
    const auto speed = parse_speed(text);
    REQUIRE_FALSE(speed);
    CHECK_THAT(speed.error().sentence, Contains("45mph"));
  }
  for (const auto* text : {"", ":", "1:", "1:60", "1.5:20", "1:2:3:4", "-5", "abc", "1::2"}) {
    INFO(text);
    CHECK_FALSE(parse_time(text));
  }
}

TEST_CASE("a quantity prints in the unit it was written in, and reads back the same") {
  CHECK(to_text(Speed(20.1168), SpeedUnit::mph, 1) == "45.0 mph");
  CHECK(to_text(Length(0.0002032), LengthUnit::thou, 0) == "8 thou");
  CHECK(to_text(Length(0.0002032), LengthUnit::inch, 4) == "0.0080 in");
  for (const auto unit : {SpeedUnit::kmh, SpeedUnit::mph, SpeedUnit::mps, SpeedUnit::knots}) {
    const auto again = parse_speed(to_text(Speed(12.5), unit, 9));
    REQUIRE(again);
    CHECK(again->unit == unit);
    CHECK(again->value.value() == Approx(12.5));
  }
  for (const auto unit :
       {LengthUnit::mm, LengthUnit::cm, LengthUnit::m, LengthUnit::inch, LengthUnit::thou}) {
    const auto again = parse_length(to_text(Length(0.0125), unit, 9));
    REQUIRE(again);
    CHECK(again->unit == unit);
    CHECK(again->value.value() == Approx(0.0125));
  }
}

TEST_CASE("what is nearly certain is not printed as certain, nor what is nearly nothing as nothing") {
  CHECK(whole_percent(Probability(0.0)) == "0");
  CHECK(whole_percent(Probability(1e-9)) == "<1");
  CHECK(whole_percent(Probability(0.846)) == "85");
  CHECK(whole_percent(Probability(0.9949)) == "99");
  CHECK(whole_percent(Probability(0.9951)) == ">99");
  CHECK(whole_percent(Probability(1.0)) == "100");
}

TEST_CASE("what is no UTF-8 is replaced, the rest stays") {
  CHECK(valid_utf8("Br\xc3\xbc"
                   "cke 5 %") ==
        "Br\xc3\xbc"
        "cke 5 %");
  CHECK(valid_utf8("Br\xfc"
                   "cke") ==
        "Br\xef\xbf\xbd"
        "cke");                                 // Latin-1
  CHECK(valid_utf8("\xc3") == "\xef\xbf\xbd");  // cut in the middle of a character
  CHECK(valid_utf8("\"\\\n").size() == 3);
  CHECK(valid_utf8("").empty());
}
