#include "meshes.hpp"

#include <algorithm>
#include <cmath>

namespace gearhark {
namespace {

std::optional<Rate> member_rate(const ShaftRates& rates, std::string_view shaft) {
  if (shaft.empty()) return Rate{};
  const auto at = rates.find(shaft);
  return at == rates.end() ? std::nullopt : std::optional(at->second);
}

}  // namespace

bool is_zero(const Rate& rate) {
  return std::max({std::abs(rate.wheel), std::abs(rate.engine), std::abs(rate.bend)}) < 1e-9;
}

bool runs(const Car& car, const Bearing& bearing, const DriveState& state) {
  const Part* part = car.part(bearing.id);
  return state.clutch == Clutch::pedal_down || !part || part->role != PartRole::release_bearing;
}

std::optional<Rate> turning_rate(const ShaftRates& rates, std::string_view shaft) {
  const auto at = rates.find(shaft);
  if (at == rates.end() || is_zero(at->second)) return std::nullopt;
  return at->second;
}

Spread spread_of(const ShaftSpreads& spreads, std::string_view shaft) {
  const auto at = spreads.find(shaft);
  return at == spreads.end() ? Spread{} : at->second;
}

std::optional<Mesh> mesh_of(const GearPair& pair, const Gear& gear, const ShaftRates& rates) {
  const auto driving = turning_rate(rates, pair.driving), driven = turning_rate(rates, pair.driven);
  if (!pair.meshes_in(gear) || !driving || !driven) return std::nullopt;
  return Mesh{*driving, *driven, *driving * pair.driving_teeth};
}

std::optional<EpicyclicMesh> mesh_of(const EpicyclicSet& set, const ShaftRates& rates) {
  const auto sun = member_rate(rates, set.sun), ring = member_rate(rates, set.ring),
             carrier = member_rate(rates, set.carrier);
  if (!sun || !ring || !carrier) return std::nullopt;
  const double planet_teeth =
      set.planet_teeth > 0 ? set.planet_teeth : (set.ring_teeth - set.sun_teeth) / 2.0;
  const Rate ring_relative = *ring - *carrier;
  EpicyclicMesh out{*sun - *carrier, ring_relative, ring_relative * (set.ring_teeth / planet_teeth), *carrier,
                    ring_relative * set.ring_teeth};
  return is_zero(out.mesh) ? std::nullopt : std::optional(out);
}

double beats_per_turn(JointKind kind) {
  switch (kind) {
    case JointKind::six_ball:
      return 6.0;
    case JointKind::tripod:
      return 3.0;
    case JointKind::cardan:
      break;
  }
  return 2.0;
}

}  // namespace gearhark
