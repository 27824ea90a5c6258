// Bearing kinematics against published multipliers. Geometries and figures: the source is named at each row.
#include "gearhark/car/bearing.hpp"

#include <string>
#include <vector>

#include "cars.hpp"

using namespace gearhark;
using namespace gearhark::testing;

namespace {

Bearing ball_bearing(int count, double element, double pitch, double angle) {
  Bearing b;
  b.id = "b";
  b.count = count;
  b.element_diameter = Length(element);
  b.pitch_diameter = Length(pitch);
  b.contact_angle_degrees = angle;
  return b;
}

// Rates of a bearing whose rings turn at so many Hz.
BearingRates at(const Bearing& b, double inner, double outer) {
  return bearing_rates(b, {inner, 0, 0}, {outer, 0, 0});
}

struct Published {
  std::string source;
  int count;
  double element, pitch, angle;
  double shaft;                             // Hz; 1 for multipliers
  double outer, inner, element_line, cage;  // element_line: twice the spin; 0: not published
  double tolerance;                         // relative
};

const std::vector<Published> published{
    // Case Western Reserve University Bearing Data Center, multipliers; geometry from memory. The cage line
    // printed,
    // 0.39828, is off its own race line by 8e-5.
    {"CWRU 6205", 9, 0.3126, 1.537, 0, 1, 3.5848, 5.4152, 4.7135, 0.39828, 2e-4},
    {"CWRU 6203", 8, 0.2656, 1.122, 0, 1, 3.0530, 4.9469, 3.9874, 0.3817, 2e-4},
    // G. Forbes, Curtin University 2012, bearing fault data set readme. It lists the spin, 2.32.
    {"Curtin ER16K", 9, 7.9375, 38.50, 0, 1, 3.572, 5.428, 2 * 2.322, 0.3969, 2e-4},
    // Huang and Baddour, Data in Brief 2018; figures from memory.
    {"Ottawa ER16K", 9, 7.94, 38.52, 0, 1, 3.57, 5.43, 0, 0, 1e-3},
    // MFPT programme bearing at 25 Hz; figures from memory.
    {"MFPT", 8, 0.235, 1.245, 0, 25, 81.125, 118.875, 0, 0, 1e-4},
    // IMS run-to-failure set, ZA-2115 at 2000 rpm; figures from memory (296.8 is truncated in some texts).
    {"IMS ZA-2115", 16, 0.331, 2.815, 15.17, 2000.0 / 60.0, 236.4, 296.9, 279.8, 14.775, 3e-4},
    // XJTU-SY set, UER204 at 35 Hz; figures from memory, geometry from a public page. It lists the
    // spin, 72.33.
    {"XJTU-SY UER204", 8, 7.92, 34.55, 0, 35, 107.91, 172.09, 2 * 72.33, 13.49, 2e-4},
};

}  // namespace

TEST_CASE("bearing lines match seven published bearings") {
  for (const auto& p : published) {
    INFO(p.source);
    const BearingRates r = at(ball_bearing(p.count, p.element, p.pitch, p.angle), p.shaft, 0);
    CHECK(r.outer_race.wheel == Approx(p.outer).epsilon(p.tolerance));
    CHECK(r.inner_race.wheel == Approx(p.inner).epsilon(p.tolerance));
    if (p.element_line > 0) CHECK(2 * r.spin.wheel == Approx(p.element_line).epsilon(p.tolerance));
    if (p.cage > 0) CHECK(r.cage.wheel == Approx(p.cage).epsilon(p.tolerance));
  }
}

TEST_CASE("whatever both rings do, outer plus inner race is the number of elements per turn between them") {
  for (const auto& p : published)
    for (const double inner : {30.0, 0.0, -12.0})
      for (const double outer : {10.0, 0.0, -10.0}) {
        const BearingRates r = at(ball_bearing(p.count, p.element, p.pitch, p.angle), inner, outer);
        CHECK(r.outer_race.wheel + r.inner_race.wheel == Approx(p.count * (inner - outer)).margin(1e-9));
        CHECK(r.outer_race.wheel == Approx(p.count * (r.cage.wheel - outer)).margin(1e-9));
        CHECK(r.inner_race.wheel == Approx(p.count * (inner - r.cage.wheel)).margin(1e-9));
      }
}

TEST_CASE("rings that turn as one leave the bearing silent and the cage turning with them") {
  const BearingRates r = at(ball_bearing(9, 7.94, 39.04, 0), 25, 25);
  CHECK(r.outer_race.wheel == 0.0);
  CHECK(r.inner_race.wheel == 0.0);
  CHECK(r.spin.wheel == 0.0);
  CHECK(r.cage.wheel == Approx(25.0));
}

TEST_CASE("turning both rings the other way round changes no line but its sign") {
  const auto b = ball_bearing(9, 7.94, 39.04, 0);
  CHECK(at(b, -30, -10).outer_race.wheel == Approx(-at(b, 30, 10).outer_race.wheel));
  CHECK(at(b, -30, -10).cage.wheel == Approx(-at(b, 30, 10).cage.wheel));
}

TEST_CASE("the 6205 with both rings turning gives the lines derived from the same equations by other means") {
  // Worked with NumPy from Harris and Kotzalas' equations; not published.
  const auto b = ball_bearing(9, 0.3126, 1.537, 0);
  const BearingRates same = at(b, 30, 10), against = at(b, 30, -10), outer_only = at(b, 0, 30);
  CHECK(same.outer_race.wheel == Approx(71.696).epsilon(1e-4));
  CHECK(same.inner_race.wheel == Approx(108.304).epsilon(1e-4));
  CHECK(2 * same.spin.wheel == Approx(2 * 47.134).epsilon(1e-4));
  CHECK(same.cage.wheel == Approx(17.966).epsilon(1e-4));
  CHECK(against.outer_race.wheel == Approx(143.391).epsilon(1e-4));
  CHECK(against.cage.wheel == Approx(5.932).epsilon(1e-3));
  CHECK(outer_only.cage.wheel == Approx(18.0508).epsilon(1e-4));
}

TEST_CASE(
    "a fault on the ring that turns is modulated by its turning, one on the ring that stands still is not") {
  const std::string text = transaxle +
                           "[[bearing]]\nid = \"b\"\nshaft = \"wheel_fl\"\nturns = \"RING\"\nelements = 13\n"
                           "element_diameter = \"8 mm\"\npitch_diameter = \"53 mm\"\n";
  for (const auto* turns : {"inner", "outer"}) {
    INFO(turns);
    const Car car = car_from(with(text, "RING", turns));
    const auto families = fault_families(car, {{"1"}}, rates_of(car, "1"));
    const bool inner_turns = std::string(turns) == "inner";
    const auto *moving = find_family(families, "b", inner_turns ? Fault::inner_race : Fault::outer_race),
               *still = find_family(families, "b", inner_turns ? Fault::outer_race : Fault::inner_race),
               *element = find_family(families, "b", Fault::rolling_element),
               *cage = find_family(families, "b", Fault::cage);
    REQUIRE((moving && still && element && cage));
    CHECK(moving->modulation.wheel == Approx(1.0));
    CHECK(still->modulation.wheel == 0.0);
    CHECK(element->modulation.wheel == Approx(cage->base.wheel));
    CHECK((inner_turns ? cage->base.wheel < 0.5 : cage->base.wheel > 0.5));
  }
}

TEST_CASE(
    "with the count alone, the true race lines of the published bearings lie within the range searched") {
  for (const auto& p : published) {
    INFO(p.source);
    const std::string kind = p.source == "IMS ZA-2115" ? "taper" : "ball";
    const std::string text =
        "[[bearing]]\nid = \"b\"\nshaft = \"engine\"\nkind = \"KIND\"\nelements = COUNT\n";
    const Car car = car_from(transaxle + with(with(text, "KIND", kind), "COUNT", std::to_string(p.count)));
    const auto families = fault_families(car, {{"N"}}, rates_of(car, "N"));
    for (const auto& [fault, truth] : {std::pair{Fault::outer_race, p.outer}, {Fault::inner_race, p.inner}}) {
      const Family* f = find_family(families, "b", fault);
      REQUIRE(f);
      CHECK(f->knowledge == Knowledge::count_only);
      CHECK(f->elements == p.count);
      CHECK(f->base.engine * f->geometry_low < truth / p.shaft);
      CHECK(f->base.engine * f->geometry_high > truth / p.shaft);
    }
    const Family* element = find_family(families, "b", Fault::rolling_element);
    REQUIRE(element);
    CHECK(element->knowledge == Knowledge::count_only);
  }
}

TEST_CASE("with nothing known, the range holds the lines of races and elements of every published bearing") {
  const Car car = car_from(transaxle + "[[bearing]]\nid = \"b\"\nshaft = \"engine\"\n");
  const auto families = fault_families(car, {{"N"}}, rates_of(car, "N"));
  const auto *outer = find_family(families, "b", Fault::outer_race),
             *inner = find_family(families, "b", Fault::inner_race),
             *element = find_family(families, "b", Fault::rolling_element);
  REQUIRE((outer && inner && element));
  for (const Family* family : {outer, inner, element}) CHECK(family->knowledge == Knowledge::nothing);
  CHECK(outer->elements == 0);
  for (const auto& p : published) {
    CHECK(outer->geometry_low < p.outer / p.shaft);
    CHECK(outer->geometry_high > p.outer / p.shaft);
    CHECK(inner->geometry_low < p.inner / p.shaft);
    CHECK(inner->geometry_high > p.inner / p.shaft);
    if (p.element_line == 0.0) continue;
    CHECK(element->base.engine * element->geometry_low < p.element_line / p.shaft);
    CHECK(element->base.engine * element->geometry_high > p.element_line / p.shaft);
  }
}

TEST_CASE("slip pulls the outer race and the elements down, and pushes the inner race up in proportion") {
  const Car car = car_from(transaxle +
                           "[[bearing]]\nid = \"b\"\nshaft = \"input\"\nelements = 9\nelement_diameter = "
                           "\"7.94 mm\"\npitch_diameter = \"39.04 mm\"\n");
  const auto families = fault_families(car, {{"1"}}, rates_of(car, "1"));
  const auto *outer = find_family(families, "b", Fault::outer_race),
             *inner = find_family(families, "b", Fault::inner_race);
  REQUIRE((outer && inner));
  // The sum of both lines stays the count, whatever the slip.
  for (const double lag : {outer->slip_low, outer->slip_high}) {
    const double gain = lag == outer->slip_low ? inner->slip_high : inner->slip_low;
    CHECK(outer->base.wheel * (1 + lag) + inner->base.wheel * (1 + gain) ==
          Approx(9 * inner->modulation.wheel));
  }
  CHECK(outer->slip_low == Approx(-0.021));
  // The lag and the error of the sizes meet at a limit as seldom as the lesser of the two is wide.
  CHECK(outer->slip_fade == Approx(0.004));
  CHECK(inner->slip_fade / (inner->slip_high - inner->slip_low) == Approx(0.004 / 0.023));
}
