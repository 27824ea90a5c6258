#include "gearhark/synthesis/random_car.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "gearhark/car/bearing.hpp"
#include "random.hpp"

namespace gearhark {

namespace {

using synth::Random;

// Builds a car in the general form, part by part.
class Builder {
 public:
  explicit Builder(std::uint64_t seed) : random_(seed, "random car") {}

  Car rear_transaxle() {
    begin("invented rear-engined car", {"wheel_rl", "wheel_rr"});
    two_shaft_box();
    final_drive(bevel_teeth());
    pinion_bearings(RollingElement::taper_roller);
    return finish();
  }

  Car live_axle() {
    begin("invented car with a live axle", {"wheel_rl", "wheel_rr"});
    three_shaft_box();
    final_drive(bevel_teeth());
    pinion_bearings(RollingElement::taper_roller);
    for (const char* end : {"front", "rear"})
      joint(std::string("propshaft_joint_") + end, "propshaft", JointKind::cardan, Corner::none);
    part("propshaft", PartRole::propshaft, "propshaft");
    return finish();
  }

  Car front_drive() {
    begin("invented front-drive car", {"wheel_fl", "wheel_fr"});
    two_shaft_box();
    const int driving = random_.integer(14, 18);
    final_drive({driving, nearest(driving * random_.uniform(3.4, 4.3))});
    bearing("output_bearing_front", "pinion", PartRole::mainshaft_bearing, RollingElement::ball);
    bearing("output_bearing_rear", "pinion", PartRole::mainshaft_bearing, RollingElement::cylindrical_roller);
    for (const auto& [id, side] : sides) {
      const std::string wheel = "wheel_f" + id;
      joint("outer_joint_" + id, wheel, JointKind::six_ball, side);
      joint("inner_joint_" + id, wheel, JointKind::tripod, side);
    }
    return finish();
  }

 private:
  using Teeth = std::pair<int, int>;
  static inline const std::vector<std::pair<std::string, Corner>> sides{{"l", Corner::left},
                                                                        {"r", Corner::right}};
  static int nearest(double value) { return static_cast<int>(std::lround(value)); }

  void shaft(const std::string& id) { car_.shafts.push_back({id, id}); }

  void part(const std::string& id, PartRole role, const std::string& on, Corner side = Corner::none) {
    Part made;
    made.id = made.name = id;
    made.role = role;
    made.side = side;
    made.shaft = on;
    car_.parts.push_back(made);
  }

  void begin(const char* name, std::vector<std::string> driven) {
    car_.name = name;
    car_.notes = "Invented by gearhark.";
    car_.driven_wheels = std::move(driven);
    car_.tyre.designation = "measured";
    car_.tyre.rolling_circumference = Length(random_.uniform(1.72, 2.05));
    car_.engine.cylinders = random_.uniform() < 0.75 ? 4 : 6;
    for (const char* id :
         {"engine", "input", "pinion", "carrier", "wheel_fl", "wheel_fr", "wheel_rl", "wheel_rr"})
      shaft(id);
    Coupling clutch;
    clutch.a = "engine";
    clutch.b = "input";
    clutch.engine_clutch = true;
    car_.couplings.push_back(clutch);
    bearing("input_bearing_front", "input", PartRole::input_bearing, RollingElement::ball);
  }

  // Teeth that share a centre distance: one sum for all pairs, give or take a tooth.
  Teeth pair_teeth(double ratio, int sum) {
    const int driving = nearest((sum + random_.integer(-1, 1)) / (1.0 + ratio));
    return {driving, nearest(driving * ratio)};
  }

  Teeth bevel_teeth() {
    const int pinion = random_.integer(8, 12);
    return {pinion, nearest(pinion * random_.uniform(3.6, 4.6))};
  }

  void gears(Teeth teeth, const std::string& id, const std::string& driving, const std::string& driven,
             PartRole role, std::optional<Gear> gear = {}) {
    GearPair pair;
    pair.id = pair.name = id;
    pair.driving = driving;
    pair.driven = driven;
    pair.driving_teeth = teeth.first;
    pair.driven_teeth = teeth.second;
    pair.selected_by = std::move(gear);
    car_.pairs.push_back(pair);
    part(id, role, "");
  }

  // The driven gear of each forward pair idles on its shaft until it is selected.
  void selectable(int gear, double ratio, int sum, const std::string& from, const std::string& to) {
    const std::string id = "gear_pair_" + std::to_string(gear);
    const Gear label{std::to_string(gear)};
    shaft(id + "/loose");
    gears(pair_teeth(ratio, sum), id, from, id + "/loose", PartRole::gear_pair, label);
    couple(id + "/loose", to, {label});
    car_.gears.push_back(label);
  }

  void couple(const std::string& a, const std::string& b, std::vector<Gear> only_in = {}) {
    Coupling made;
    made.a = a;
    made.b = b;
    made.only_in = std::move(only_in);
    car_.couplings.push_back(made);
  }

  void two_shaft_box() {
    const int sum = random_.integer(46, 60), forward = random_.integer(4, 5);
    const double first = random_.uniform(3.3, 3.9),
                 step = std::pow(first / random_.uniform(0.8, 0.95), 1.0 / (forward - 1));
    for (int gear = 1; gear <= forward; ++gear)
      selectable(gear, first * std::pow(step, 1 - gear), sum, "input", "pinion");
    car_.gears.push_back({"N"});
    bearing("input_bearing_rear", "input", PartRole::input_bearing, RollingElement::ball);
  }

  void three_shaft_box() {
    for (const char* id : {"layshaft", "mainshaft", "propshaft"}) shaft(id);
    const int sum = random_.integer(44, 54);
    const double constant = random_.uniform(1.4, 1.75), first = random_.uniform(3.2, 3.8);
    gears(pair_teeth(constant, sum), "constant_pair", "input", "layshaft", PartRole::constant_pair);
    const double real_constant =
        static_cast<double>(car_.pairs.back().driven_teeth) / car_.pairs.back().driving_teeth;
    for (int gear = 1; gear <= 3; ++gear)
      selectable(gear, first * std::pow(first, (1 - gear) / 3.0) / real_constant, sum, "layshaft",
                 "mainshaft");
    couple("input", "mainshaft", {Gear{"4"}});
    car_.gears.push_back({"4"});
    car_.gears.push_back({"N"});
    couple("mainshaft", "propshaft");
    couple("propshaft", "pinion");
    bearing("layshaft_bearing_front", "layshaft", PartRole::layshaft_bearing, RollingElement::ball);
    bearing("layshaft_bearing_rear", "layshaft", PartRole::layshaft_bearing, RollingElement::ball);
    bearing("mainshaft_bearing_rear", "mainshaft", PartRole::mainshaft_bearing, RollingElement::ball);
    bearing("pilot_bearing", "mainshaft", PartRole::pilot_bearing, RollingElement::needle);
    car_.bearings.back().turning = TurningRing::both;
    car_.bearings.back().outer_shaft = "input";
  }

  void final_drive(Teeth teeth) {
    gears(teeth, "ring_and_pinion", "pinion", "carrier", PartRole::ring_and_pinion);
    Differential differential;
    differential.id = differential.name = "differential";
    differential.carrier = "carrier";
    differential.left = car_.driven_wheels[0];
    differential.right = car_.driven_wheels[1];
    car_.differentials.push_back(differential);
    for (const auto& [id, side] : sides)
      bearing("carrier_bearing_" + id, "carrier", PartRole::carrier_bearing, RollingElement::taper_roller,
              side);
  }

  void pinion_bearings(RollingElement element) {
    bearing("pinion_head_bearing", "pinion", PartRole::pinion_head_bearing, element);
    bearing("pinion_tail_bearing", "pinion", PartRole::pinion_tail_bearing, element);
  }

  void joint(const std::string& id, const std::string& on, JointKind kind, Corner side) {
    Joint made;
    made.id = made.name = id;
    made.shaft = on;
    made.kind = kind;
    car_.joints.push_back(made);
    part(id, PartRole::joint, on, side);
  }

  // Sizes that fit the pitch circle. Of some bearings only the element count is known, of some nothing.
  void bearing(const std::string& id, const std::string& on, PartRole role, RollingElement element,
               Corner side = Corner::none) {
    Bearing made;
    made.id = made.name = id;
    made.shaft = on;
    made.element = element;
    const bool ball = element == RollingElement::ball || element == RollingElement::angular_ball;
    const int count = ball ? random_.integer(7, 11) : random_.integer(13, 20);
    const Filling filling = usual_filling(element);
    const double filled = random_.uniform(filling.least, filling.most);
    const double pitch = random_.uniform(0.036, 0.07);
    const double angle = element == RollingElement::taper_roller ? random_.uniform(11.0, 26.0) : 0.0;
    const double known = random_.uniform();
    if (known < 0.92) made.count = count;
    if (known < 0.68) {
      made.pitch_diameter = Length(std::round(pitch * 1e5) / 1e5);
      made.contact_angle_degrees = std::round(angle);
      const double cosine = std::cos(made.contact_angle_degrees * std::numbers::pi / 180.0);
      const double around = std::min(filled / cosine, 0.95 * std::numbers::pi);
      made.element_diameter = Length(std::round(pitch * around / count * 1e5) / 1e5);
    }
    car_.bearings.push_back(made);
    part(id, role, on, side);
  }

  Car finish() {
    for (const char* axle : {"f", "r"})
      for (const auto& [side, corner] : sides) {
        const std::string at = axle + side, wheel = "wheel_" + at;
        const bool driven = wheel == car_.driven_wheels[0] || wheel == car_.driven_wheels[1];
        const auto element = driven ? RollingElement::ball : RollingElement::taper_roller;
        bearing("wheel_bearing_" + at, wheel, PartRole::wheel_bearing, element, corner);
        if (!driven) car_.bearings.back().turning = TurningRing::outer;
        part("tyre_" + at, PartRole::tyre, wheel, corner);
      }
    shaft("generator");
    Belt belt;
    belt.id = belt.name = "generator";
    belt.driving = "engine";
    belt.driven = "generator";
    belt.ratio = random_.uniform(1.6, 2.3);
    car_.belts.push_back(belt);
    part("generator", PartRole::machine, "generator");
    part("engine", PartRole::engine, "engine");
    return car_;
  }

  Random random_;
  Car car_;
};

}  // namespace

Car random_car(std::uint64_t seed) {
  Random choice(seed, "layout");
  Builder builder(seed);
  switch (choice.integer(0, 2)) {
    case 0:
      return builder.rear_transaxle();
    case 1:
      return builder.live_axle();
    default:
      return builder.front_drive();
  }
}

}  // namespace gearhark
