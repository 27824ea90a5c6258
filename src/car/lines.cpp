#include "gearhark/car/lines.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>

#include "gearhark/car/bearing.hpp"
#include "meshes.hpp"

namespace gearhark {
namespace {

constexpr double highest_engine_order = 12.0;
constexpr int shaft_harmonics = 3, mesh_harmonics = 4;

// What every part's lines are made from, and where they go.
struct Predicting {
  const Car& car;
  const DriveState& state;
  const ShaftRates& rates;
  const ShaftSpreads spreads;
  const std::set<std::string, std::less<>> loaded;
  std::vector<Line> lines;

  Line& add(const std::string& part, LineKind kind, int harmonic, const Rate& rate, Spread spread,
            bool healthy = false) {
    Line line;
    line.part = part;
    line.kind = kind;
    line.harmonic = harmonic;
    line.rate = rate;
    line.sounds_healthy = healthy;
    line.low = spread.low;
    line.high = spread.high;
    return lines.emplace_back(line);
  }
  void add_harmonics(const std::string& part, LineKind kind, int count, const Rate& rate, Spread spread,
                     bool healthy = false) {
    for (int h = 1; h <= count; ++h) add(part, kind, h, rate * h, spread, healthy);
  }
};

void engine_lines(Predicting& p) {
  const auto engine = turning_rate(p.rates, "engine");
  if (!engine) return;
  const Spread spread = spread_of(p.spreads, "engine");
  const double firing = p.car.engine.firing_order().value();
  for (int h = 1; h * firing <= highest_engine_order; ++h)
    p.add("engine", LineKind::firing, h, *engine * (h * firing), spread, true);
  for (int k = 1; k * 0.5 <= highest_engine_order; ++k)
    if (std::fmod(k * 0.5, firing) != 0.0)
      p.add("engine", LineKind::engine_half_order, k, *engine * (k * 0.5), spread, true);
}

// Shafts with lines of their own kind, and helpers of the short form that are no shafts to a mechanic.
bool has_own_lines(const Car& car, std::string_view shaft) {
  const bool machine =
      std::any_of(car.belts.begin(), car.belts.end(), [&](const Belt& b) { return b.driven == shaft; });
  return machine || shaft == "engine" || shaft.starts_with("wheel_") ||
         shaft.find('/') != std::string_view::npos;
}

std::string part_on(const Car& car, const std::string& shaft, PartRole role) {
  for (const auto& part : car.parts)
    if (part.role == role && part.shaft == shaft) return part.id;
  return shaft;
}

void shaft_lines(Predicting& p) {
  for (const auto& shaft : p.car.shafts) {
    const auto rate = turning_rate(p.rates, shaft.id);
    if (!rate || has_own_lines(p.car, shaft.id)) continue;
    p.add_harmonics(part_on(p.car, shaft.id, PartRole::propshaft), LineKind::shaft_turn, shaft_harmonics,
                    *rate, spread_of(p.spreads, shaft.id));
  }
}

void sidebands(Predicting& p, const Line& mesh, const std::string& shaft, const Rate& turn) {
  for (const int k : {-1, 1}) {
    Line line = mesh;
    line.kind = LineKind::mesh_sideband;
    line.sideband = k;
    line.sideband_shaft = shaft;
    line.rate = mesh.rate + turn * k;
    line.sounds_healthy = false;
    p.lines.push_back(line);
  }
}

// Mesh / gcd: teeth that share a factor meet only part of each other's teeth (Foiles, Gear Frequencies Using
// the Euclidean Algorithm). Hunting tooth: the same two teeth meet again after lcm meshes.
void slow_mesh_lines(Predicting& p, const GearPair& pair, const Mesh& mesh, Spread spread, bool loaded) {
  const int common = std::gcd(pair.driving_teeth, pair.driven_teeth);
  if (common > 1) p.add(pair.id, LineKind::mesh_phase, 1, mesh.mesh * (1.0 / common), spread).loaded = loaded;
  const double meshes = std::lcm(pair.driving_teeth, pair.driven_teeth);
  p.add(pair.id, LineKind::hunting_tooth, 1, mesh.mesh * (1.0 / meshes), spread).loaded = loaded;
}

void pair_lines(Predicting& p) {
  for (const auto& pair : p.car.pairs) {
    const auto mesh = mesh_of(pair, p.state.gear, p.rates);
    if (!mesh || !pair.teeth_known) continue;
    const Spread spread = spread_of(p.spreads, pair.driving);
    const bool loaded = p.loaded.contains(pair.id);
    for (int h = 1; h <= mesh_harmonics; ++h) {
      Line line = p.add(pair.id, LineKind::mesh, h, mesh->mesh * h, spread, true);
      p.lines.back().loaded = line.loaded = loaded;
      sidebands(p, line, pair.driving, mesh->driving);
      sidebands(p, line, pair.driven, mesh->driven);
    }
    slow_mesh_lines(p, pair, *mesh, spread, loaded);
  }
}

void epicyclic_lines(Predicting& p) {
  for (const auto& set : p.car.epicyclics) {
    const auto mesh = mesh_of(set, p.rates);
    if (!mesh || !set.teeth_known) continue;
    const Spread spread = spread_of(p.spreads, set.carrier.empty() ? set.ring : set.carrier);
    const bool loaded = p.loaded.contains(set.id);
    for (int h = 1; h <= mesh_harmonics; ++h) {
      Line line = p.add(set.id, LineKind::mesh, h, mesh->mesh * h, spread, true);
      p.lines.back().loaded = line.loaded = loaded;
      if (!set.carrier.empty()) sidebands(p, line, set.carrier, mesh->carrier);
    }
    p.add(set.id, LineKind::planet_pass, 1, mesh->ring * set.planets, spread).loaded = loaded;
  }
}

void bearing_lines(Predicting& p) {
  for (const auto& bearing : p.car.bearings) {
    const auto rings = ring_rates(bearing, p.rates);
    if (!rings || !runs(p.car, bearing, p.state) || !bearing.geometry_known() ||
        is_zero(rings->inner - rings->outer))
      continue;
    const BearingRates r = bearing_rates(bearing, rings->inner, rings->outer);
    const double tolerance = bearing.relative_tolerance;
    const Spread spread = spread_of(p.spreads, bearing.shaft) + Spread{-tolerance, tolerance};
    p.add(bearing.id, LineKind::outer_race, 1, r.outer_race, spread);
    p.add(bearing.id, LineKind::inner_race, 1, r.inner_race, spread);
    p.add(bearing.id, LineKind::rolling_element, 1, r.spin * 2.0, spread);
    p.add(bearing.id, LineKind::cage, 1, r.cage, spread);
  }
}

void joint_lines(Predicting& p) {
  for (const auto& joint : p.car.joints)
    if (const auto rate = turning_rate(p.rates, joint.shaft))
      p.add(joint.id, LineKind::joint, 1, *rate * beats_per_turn(joint.kind),
            spread_of(p.spreads, joint.shaft));
}

void belt_lines(Predicting& p) {
  for (const auto& belt : p.car.belts) {
    const auto driving = turning_rate(p.rates, belt.driving), driven = turning_rate(p.rates, belt.driven);
    if (!driving || !driven) continue;
    const Spread spread = spread_of(p.spreads, belt.driven);
    p.add_harmonics(belt.id, LineKind::machine_turn, belt.blades > 0 ? 1 : 2, *driven, spread, true);
    if (belt.blades > 0)
      p.add(belt.id, LineKind::machine_turn, belt.blades, *driven * belt.blades, spread, true);
    if (belt.passes_per_driving_turn)
      p.add_harmonics(belt.id, LineKind::belt, 2, *driving * *belt.passes_per_driving_turn,
                      spread_of(p.spreads, belt.driving), true);
  }
}

void wheel_lines(Predicting& p) {
  for (const auto& part : p.car.parts) {
    const auto rate = turning_rate(p.rates, part.shaft);
    if (part.role != PartRole::tyre || !rate) continue;
    p.add_harmonics(part.id, LineKind::wheel_turn, shaft_harmonics, *rate, {}, true);
    if (p.car.tyre.tread_pitches)
      p.add_harmonics(part.id, LineKind::tread, 2, *rate * *p.car.tyre.tread_pitches, {}, true);
  }
}

constexpr std::array fault_words{
    std::pair{Fault::outer_race, "outer race"},
    std::pair{Fault::inner_race, "inner race"},
    std::pair{Fault::rolling_element, "rolling element"},
    std::pair{Fault::cage, "cage"},
    std::pair{Fault::worn_teeth, "worn teeth"},
    std::pair{Fault::chipped_tooth, "chipped tooth"},
    std::pair{Fault::out_of_balance, "out of balance"},
    std::pair{Fault::worn_joint, "worn joint"},
    std::pair{Fault::dry_joint, "dry joint"},
    std::pair{Fault::uneven_wear, "uneven wear"},
    std::pair{Fault::worn_machine, "worn machine"},
};

}  // namespace

std::vector<Line> predicted_lines(const Car& car, const DriveState& state, const ShaftRates& rates) {
  Predicting p{car, state, rates, shaft_spreads(car, state), loaded_gears(car, state), {}};
  engine_lines(p);
  wheel_lines(p);
  shaft_lines(p);
  pair_lines(p);
  epicyclic_lines(p);
  bearing_lines(p);
  joint_lines(p);
  belt_lines(p);
  return std::move(p.lines);
}

std::string to_text(Fault fault) {
  for (const auto& [f, word] : fault_words)
    if (f == fault) return word;
  return "";
}

std::optional<Fault> fault_from_text(std::string_view word) {
  for (const auto& [f, text] : fault_words)
    if (word == text) return f;
  return std::nullopt;
}

std::string to_text(Load load) { return std::string(load_words[static_cast<std::size_t>(load)]); }
std::string to_text(Turn turn) { return std::string(turn_words[static_cast<std::size_t>(turn)]); }

}  // namespace gearhark
