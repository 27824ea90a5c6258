#include "gearhark/evidence/healthy_orders.hpp"

#include <algorithm>
#include <cmath>

namespace gearhark {
namespace {

// Firing is far louder than all else: what the shaft angle's error leaves of it beside its orders is masked
// too.
constexpr double firing_orders_to = 24.0, firing_half_width = 0.002;
constexpr int mesh_harmonics_to = 3;
constexpr int shaft_orders_to = 6;  // and a shaft's first turns
constexpr double half_track_m = 0.675;
constexpr double cornering_mps2 = 2.0;  // what people take a bend at

// The part of a rate that follows one reference, or 0 when it follows both.
double order_on(const Rate& rate, Reference on) {
  if (on == Reference::engine) return rate.engine_bound() ? std::abs(rate.engine) : 0.0;
  return rate.road_bound() ? std::abs(rate.wheel) : 0.0;
}

bool sounds_once_per_turn(std::string_view shaft, const Car& car) {
  if (shaft.ends_with("/loose")) return false;
  return std::none_of(car.belts.begin(), car.belts.end(),
                      [&](const Belt& belt) { return belt.driven == shaft; });
}

std::vector<MaskedOrder> engine_orders(const ShaftRates& rates, double firing, Reference on) {
  std::vector<MaskedOrder> known;
  const auto found = rates.find("engine");
  const double turn = found == rates.end() ? 0.0 : order_on(found->second, on);
  if (turn <= 0.0) return known;
  for (double half = 0.5; half <= half_orders_to; half += 0.5) known.push_back({half * turn});
  for (double order = firing; order <= firing_orders_to; order += firing)
    known.push_back({order * turn, firing_half_width});
  return known;
}

void add_shafts(std::vector<MaskedOrder>& known, const Car& car, const ShaftRates& rates, Reference on) {
  for (const auto& [shaft, rate] : rates) {
    const bool machine = !sounds_once_per_turn(shaft, car);
    if (machine && !(on == Reference::engine && !shaft.ends_with("/loose"))) continue;
    const double turn = order_on(rate, on);
    for (int k = 1; turn > 0.0 && k <= shaft_orders_to; ++k) known.push_back({k * turn});
  }
}

// Meshes come once per tooth, locked to the shafts as a chipped tooth is.
void add_meshes(std::vector<MaskedOrder>& known, const Car& car, const DriveState& state,
                const ShaftRates& rates, Reference on) {
  for (const Line& line : predicted_lines(car, state, rates))
    if (line.kind == LineKind::mesh && line.harmonic <= mesh_harmonics_to && order_on(line.rate, on) > 0.0)
      known.push_back({order_on(line.rate, on)});
}

}  // namespace

std::vector<MaskedOrder> healthy_orders(const Car& car, const DriveState& state, const ShaftRates& rates,
                                        Reference on, Events events) {
  std::vector<MaskedOrder> known = engine_orders(rates, car.engine.firing_order().value(), on);
  if (events == Events::locked)
    add_meshes(known, car, state, rates, on);
  else
    add_shafts(known, car, rates, on);
  return known;
}

std::vector<double> engine_half_orders(const ShaftRates& rates, double highest) {
  std::vector<double> known;
  const auto engine = rates.find("engine");
  if (engine == rates.end() || !engine->second.road_bound()) return known;
  for (double half = 0.5; half <= highest; half += 0.5)
    known.push_back(half * std::abs(engine->second.wheel));
  return known;
}

bool near_known(double order, std::span<const double> known) {
  constexpr double near = 0.12;
  return std::any_of(known.begin(), known.end(), [&](double k) { return std::abs(order - k) < near; });
}

double expected_bend(Turn turn, Speed speed) {
  if (turn == Turn::straight || speed.value() <= 0.0) return 0.0;
  const double radius_m = speed.value() * speed.value() / cornering_mps2;
  return (turn == Turn::left ? 1.0 : -1.0) * half_track_m / radius_m;
}

}  // namespace gearhark
