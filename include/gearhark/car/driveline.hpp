// Kinematics: the rate of every shaft, from the linear relations that gears, couplings, belts and
// differentials impose.
#pragma once

#include <map>
#include <set>
#include <string>
#include <string_view>

#include "gearhark/car/car.hpp"

namespace gearhark {

enum class Clutch { engaged, pedal_down };

struct DriveState {
  Gear gear;
  Clutch clutch = Clutch::engaged;
};

// A rate as a mixture of up to three references, in turns (or cycles) per turn of each:
//   wheel   the mean of the driven road wheels
//   engine  the crankshaft; 0 for every shaft whenever engine and road are tied (in gear, clutch engaged)
//   bend    half of (right - left) driven-wheel rate; 0 straight ahead. Undriven wheels count as the driven
//   ones.
// Sound has no sign: use magnitude() for lines, but add and subtract rates before taking it.
struct Rate {
  double wheel = 0.0, engine = 0.0, bend = 0.0;
  friend Rate operator+(Rate a, Rate b) { return {a.wheel + b.wheel, a.engine + b.engine, a.bend + b.bend}; }
  friend Rate operator-(Rate a, Rate b) { return {a.wheel - b.wheel, a.engine - b.engine, a.bend - b.bend}; }
  friend Rate operator*(Rate a, double k) { return {a.wheel * k, a.engine * k, a.bend * k}; }
  friend Rate operator*(double k, Rate a) { return a * k; }
  // Cycles per second at these reference rates.
  [[nodiscard]] Hertz at(ShaftRate wheel_rate, ShaftRate engine_rate = ShaftRate(0),
                         ShaftRate bend_rate = ShaftRate(0)) const;
  // Follows the road wheels alone, with nothing from the engine (bend aside).
  [[nodiscard]] bool road_bound() const;
  [[nodiscard]] bool engine_bound() const;
};

// The shafts that the state determines; a shaft that nothing determines (a layshaft in neutral with the
// clutch pedal down, say) is missing from the map.
using ShaftRates = std::map<std::string, Rate, std::less<>>;

// Solves the car's linear system by a rank-revealing decomposition. Errors: a gear the car lacks (the
// sentence lists the gears); a loop whose ratios contradict each other (the sentence names the shafts).
Result<ShaftRates> shaft_rates(const Car& car, const DriveState& state);

// How far a shaft's rate may lie from the one computed, relative to it: stated ratios are rounded, belts
// creep.
struct Spread {
  double low = 0.0, high = 0.0;
  // As likely anywhere between, but rarer and rarer over this much before either end: several causes that add
  // up are seldom all at their limits.
  double fade = 0.0;
};
using ShaftSpreads = std::map<std::string, Spread, std::less<>>;

// The spread of every shaft that the state determines, from each uncertain ratio taken to its limits (added
// up).
ShaftSpreads shaft_spreads(const Car& car, const DriveState& state);

// IDs of the gear pairs and epicyclic sets through which engine torque reaches the wheels: those without
// which the engine would come loose from the road. Empty in neutral and with the pedal down.
std::set<std::string, std::less<>> loaded_gears(const Car& car, const DriveState& state);

// Engine turns per driven-wheel turn in this gear. Error in neutral.
Result<double> overall_ratio(const Car& car, const Gear& gear);

}  // namespace gearhark
