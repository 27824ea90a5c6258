// What the lines and the fault families both need of the rates and spreads.
#pragma once

#include <algorithm>
#include <optional>

#include "gearhark/car/driveline.hpp"

namespace gearhark {

// Two causes that have nothing to do with each other: of two even ranges the sum is a trapezoid.
constexpr Spread operator+(Spread a, Spread b) {
  const double width_a = a.high - a.low, width_b = b.high - b.low;
  const double fade = std::min(a.fade + b.fade + std::min(width_a, width_b), 0.5 * (width_a + width_b));
  return {a.low + b.low, a.high + b.high, fade};
}
// Differences of rates carry rounding noise; no real line lies below a billionth of an order.
bool is_zero(const Rate& rate);

// Nothing for a shaft the state does not determine, and for one that stands still.
std::optional<Rate> turning_rate(const ShaftRates& rates, std::string_view shaft);
Spread spread_of(const ShaftSpreads& spreads, std::string_view shaft);

// Whether the bearing runs in this state: a release bearing does while the pedal is down, all others always.
bool runs(const Car& car, const Bearing& bearing, const DriveState& state);

// A pair that meshes and turns in this state, with its two gears.
struct Mesh {
  Rate driving, driven, mesh;
};
std::optional<Mesh> mesh_of(const GearPair& pair, const Gear& gear, const ShaftRates& rates);

// An epicyclic set that turns within itself. Rates relative to the carrier; a held member ("") turns at 0.
struct EpicyclicMesh {
  Rate sun, ring, planet;  // turns per second as seen from the carrier; planet about its own pin
  Rate carrier, mesh;
};
std::optional<EpicyclicMesh> mesh_of(const EpicyclicSet& set, const ShaftRates& rates);

// Joint angles make a joint shake this often per turn: cardan 2 (Hooke's joint), six-ball 6, tripod 3.
double beats_per_turn(JointKind kind);

}  // namespace gearhark
