// An invented car built by hand: three-shaft gearbox with direct top, propshaft, live axle. In the general
// form, so that these tests do not lean on the car file.
#pragma once

#include "gearhark/car/car.hpp"

namespace gearhark {

inline Bearing ball_bearing(std::string id, std::string shaft, int count, double element_mm,
                            double pitch_mm) {
  Bearing bearing;
  bearing.name = bearing.id = std::move(id);
  bearing.shaft = std::move(shaft);
  bearing.count = count;
  bearing.element_diameter = Length(element_mm * 1e-3);
  bearing.pitch_diameter = Length(pitch_mm * 1e-3);
  return bearing;
}

inline GearPair gear_pair(std::string id, std::string driving, std::string driven, int w1, int w2) {
  GearPair pair;
  pair.name = pair.id = std::move(id);
  pair.driving = std::move(driving);
  pair.driven = std::move(driven);
  pair.driving_teeth = w1;
  pair.driven_teeth = w2;
  return pair;
}

inline Car small_car() {
  Car car;
  car.name = "invented test car";
  car.tyre.designation = "165R15";
  car.tyre.rolling_circumference = Length(1.967);
  car.driven_wheels = {"wheel_rl", "wheel_rr"};
  for (const char* gear : {"1", "3", "4", "N"}) car.gears.push_back({gear});
  for (const char* shaft :
       {"engine", "input", "layshaft", "mainshaft", "gear_1/loose", "gear_3/loose", "propshaft", "pinion",
        "carrier", "wheel_rl", "wheel_rr", "wheel_fl", "wheel_fr", "generator"})
    car.shafts.push_back({shaft, shaft});
  car.couplings.push_back({"engine", "input", {}, true});
  car.couplings.push_back({"gear_1/loose", "mainshaft", {Gear{"1"}}, false});
  car.couplings.push_back({"gear_3/loose", "mainshaft", {Gear{"3"}}, false});
  car.couplings.push_back({"input", "mainshaft", {Gear{"4"}}, false});
  car.couplings.push_back({"mainshaft", "propshaft", {}, false});
  car.couplings.push_back({"propshaft", "pinion", {}, false});
  car.pairs = {gear_pair("input_pair", "input", "layshaft", 17, 29),
               gear_pair("gear_1", "layshaft", "gear_1/loose", 15, 32),
               gear_pair("gear_3", "layshaft", "gear_3/loose", 26, 21),
               gear_pair("ring_and_pinion", "pinion", "carrier", 10, 41)};
  car.pairs[1].selected_by = Gear{"1"};
  car.pairs[2].selected_by = Gear{"3"};
  car.differentials.push_back({"differential", "differential", "carrier", "wheel_rl", "wheel_rr"});
  Belt belt;
  belt.id = belt.name = belt.driven = "generator";
  belt.driving = "engine";
  belt.ratio = 1.9;
  car.belts.push_back(belt);
  Joint joint;
  joint.id = joint.name = "rear_joint";
  joint.shaft = "propshaft";
  car.joints.push_back(joint);
  car.bearings = {ball_bearing("pinion_head", "pinion", 9, 7.94, 39.04),
                  ball_bearing("hub_left", "wheel_fl", 9, 9, 46),
                  ball_bearing("wheel_right", "wheel_rr", 8, 13, 57),
                  ball_bearing("layshaft_front", "layshaft", 8, 8, 34)};
  car.bearings[1].turning = TurningRing::outer;
  car.parts = {
      {"pinion_head", "pinion head bearing", PartRole::pinion_head_bearing, Corner::none, "pinion"},
      {"hub_left", "left front hub bearing", PartRole::wheel_bearing, Corner::left, "wheel_fl"},
      {"wheel_right", "right rear wheel bearing", PartRole::wheel_bearing, Corner::right, "wheel_rr"},
      {"layshaft_front", "layshaft bearing", PartRole::layshaft_bearing, Corner::none, "layshaft"},
      {"input_pair", "constant pair", PartRole::constant_pair, Corner::none, ""},
      {"gear_1", "first gear pair", PartRole::gear_pair, Corner::none, ""},
      {"gear_3", "third gear pair", PartRole::gear_pair, Corner::none, ""},
      {"ring_and_pinion", "ring and pinion", PartRole::ring_and_pinion, Corner::none, ""},
      {"rear_joint", "rear propshaft joint", PartRole::joint, Corner::none, "propshaft"},
      {"propshaft", "propshaft", PartRole::propshaft, Corner::none, "propshaft"},
      {"tyre_rl", "left rear tyre", PartRole::tyre, Corner::left, "wheel_rl"},
      {"generator", "generator", PartRole::machine, Corner::none, "generator"}};
  return car;
}

// The same bearing twice, on the input shaft and on the pinion: in direct top both turn alike, so that every
// line of one is a line of the other; in the other gears the layshaft parts them.
inline Car twin_car() {
  Car car = small_car();
  car.bearings.push_back(ball_bearing("input_front", "input", 9, 7.94, 39.04));
  car.parts.push_back({"input_front", "input bearing", PartRole::input_bearing, Corner::none, "input"});
  return car;
}

}  // namespace gearhark
