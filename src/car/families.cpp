#include <algorithm>
#include <array>

#include "gearhark/car/bearing.hpp"
#include "gearhark/car/lines.hpp"
#include "meshes.hpp"

namespace gearhark {
namespace {

// Elements skid a little, so the cage lags by up to 1.9 % (1-2 % in Randall and Antoni, MSSP 25(2) 2011).
// Stated sizes are 0.2 % off either way (judged).
constexpr Spread skid{-0.019, 0.0}, sizes{-0.002, 0.002};
constexpr Spread cage_lag = skid + sizes;

struct Building {
  const Car& car;
  const DriveState& state;
  const ShaftRates& rates;
  const ShaftSpreads spreads;
  const std::set<std::string, std::less<>> loaded;
  std::vector<Family> families;

  Family& add(const std::string& part, Fault fault, const Rate& base, Spread spread) {
    Family f;
    f.part = part;
    f.fault = fault;
    f.base = base;
    f.slip_low = spread.low;
    f.slip_high = spread.high;
    f.slip_fade = spread.fade;
    return families.emplace_back(f);
  }
};

// With the cage lagging behind, fewer elements pass the ring that stands still, and more pass the one that
// turns, in proportion to the cage's rate relative to each. Where the outer ring turns (hubs), both signs are
// allowed: which ring the elements lag behind depends on preload, and nobody has published it.
Spread race_slip(const Bearing& b, Fault fault, double gamma) {
  if (b.turning == TurningRing::outer) return Spread{skid.low, -skid.low} + sizes;
  if (fault == Fault::outer_race) return cage_lag;
  const double share = (1.0 - gamma) / (1.0 + gamma);
  return {-cage_lag.high * share, -cage_lag.low * share, cage_lag.fade * share};
}

// Whether the drive goes through the shaft: through a gear on it, or it has no gears at all.
bool shaft_loaded(const Building& b, std::string_view shaft) {
  bool any_gear = false, any_loaded = false;
  for (const auto& pair : b.car.pairs) {
    if (pair.driving != shaft && pair.driven != shaft) continue;
    any_gear = true;
    any_loaded = any_loaded || b.loaded.contains(pair.id);
  }
  return any_loaded || !any_gear;
}

struct BearingState {
  const Bearing& bearing;
  RingRates rings;
  Spread spread;
  bool loaded;
};

Family& add_bearing(Building& b, const BearingState& s, Fault fault, const Rate& base, const Rate& modulation,
                    Spread slip) {
  Family& f = b.add(s.bearing.id, fault, base, s.spread + slip);
  f.modulation = modulation;
  f.elements = s.bearing.count.value_or(0);
  f.ring_rate = s.rings.inner - s.rings.outer;
  f.loaded = s.loaded;
  return f;
}

void exact_bearing(Building& b, const BearingState& s) {
  const double gamma = s.bearing.gamma();
  const BearingRates r = bearing_rates(s.bearing, s.rings.inner, s.rings.outer);
  add_bearing(b, s, Fault::outer_race, r.outer_race, s.rings.outer,
              race_slip(s.bearing, Fault::outer_race, gamma));
  add_bearing(b, s, Fault::inner_race, r.inner_race, s.rings.inner,
              race_slip(s.bearing, Fault::inner_race, gamma));
  add_bearing(b, s, Fault::rolling_element, r.spin * 2.0, r.cage, cage_lag);
  if (!is_zero(r.cage)) add_bearing(b, s, Fault::cage, r.cage, {}, cage_lag);
}

// No cage: without the diameters it could be nearly anywhere. An element's spin too, but it shows with the
// cage's rate beside it, and both follow from one gamma; their count does not enter.
void partly_known_bearing(Building& b, const BearingState& s) {
  const Filling filling = usual_filling(s.bearing.element);
  const int few = s.bearing.count.value_or(fewest_elements), many = s.bearing.count.value_or(most_elements);
  const Knowledge knowledge = s.bearing.count ? Knowledge::count_only : Knowledge::nothing;
  const Rate rolling = s.rings.inner - s.rings.outer;
  for (const Fault fault : {Fault::outer_race, Fault::inner_race}) {
    const bool outer = fault == Fault::outer_race;
    const auto per_turn = [&](int n, double n_gamma) { return (outer ? n - n_gamma : n + n_gamma) / 2.0; };
    const double base = s.bearing.count ? per_turn(few, (filling.least + filling.most) / 2.0) : 1.0;
    const double gamma = (filling.least + filling.most) / 2.0 / few;
    Family& f = add_bearing(b, s, fault, rolling * base, outer ? s.rings.outer : s.rings.inner,
                            race_slip(s.bearing, fault, gamma));
    f.geometry_low = per_turn(few, outer ? filling.most : filling.least) / base;
    f.geometry_high = per_turn(many, outer ? filling.least : filling.most) / base;
    f.knowledge = knowledge;
  }
  const auto spin = [](double gamma) { return 1.0 / gamma - gamma; };
  const double least = filling.least / many, most = filling.most / few, gamma = (least + most) / 2.0;
  const Rate cage = (s.rings.inner + s.rings.outer) * 0.5 - rolling * (0.5 * gamma);
  Family& element = add_bearing(b, s, Fault::rolling_element, rolling * spin(gamma), cage, cage_lag);
  element.geometry_low = filling.smallest_cosine * spin(most) / spin(gamma);
  element.geometry_high = spin(least) / spin(gamma);
  element.knowledge = knowledge;
}

void bearing_families(Building& b) {
  for (const auto& bearing : b.car.bearings) {
    const auto rings = ring_rates(bearing, b.rates);
    if (!rings || !runs(b.car, bearing, b.state) || is_zero(rings->inner - rings->outer)) continue;
    const double tolerance = bearing.relative_tolerance;
    const BearingState s{bearing, *rings, spread_of(b.spreads, bearing.shaft) + Spread{-tolerance, tolerance},
                         shaft_loaded(b, bearing.shaft)};
    if (bearing.geometry_known())
      exact_bearing(b, s);
    else
      partly_known_bearing(b, s);
  }
}

void pair_families(Building& b) {
  for (const auto& pair : b.car.pairs) {
    const auto mesh = mesh_of(pair, b.state.gear, b.rates);
    if (!mesh) continue;
    struct OneGear {
      std::string_view shaft;
      Rate rate;
      int teeth;
    };
    for (const auto& gear : std::array{OneGear{pair.driving, mesh->driving, pair.driving_teeth},
                                       OneGear{pair.driven, mesh->driven, pair.driven_teeth}}) {
      const Spread spread = spread_of(b.spreads, gear.shaft);
      if (pair.teeth_known) {
        Family& worn = b.add(pair.id, Fault::worn_teeth, mesh->mesh, spread);
        worn.modulation = gear.rate;
        worn.elements = gear.teeth;
        worn.loaded = b.loaded.contains(pair.id);
      }
      Family& chipped = b.add(pair.id, Fault::chipped_tooth, gear.rate, spread);
      chipped.elements = pair.teeth_known ? gear.teeth : 0;
      chipped.loaded = b.loaded.contains(pair.id);
    }
  }
}

// A tooth of the sun or ring meets every planet once per turn relative to the carrier; a planet's tooth meets
// sun and ring once each per turn on its pin.
void epicyclic_families(Building& b) {
  for (const auto& set : b.car.epicyclics) {
    const auto mesh = mesh_of(set, b.rates);
    if (!mesh) continue;
    const Spread spread = spread_of(b.spreads, set.carrier.empty() ? set.ring : set.carrier);
    const std::size_t first = b.families.size();
    if (set.teeth_known)
      b.add(set.id, Fault::worn_teeth, mesh->mesh, spread).modulation = mesh->ring * set.planets;
    b.add(set.id, Fault::chipped_tooth, mesh->sun * set.planets, spread);
    b.add(set.id, Fault::chipped_tooth, mesh->ring * set.planets, spread);
    if (set.teeth_known) b.add(set.id, Fault::chipped_tooth, mesh->planet * 2.0, spread);
    for (std::size_t i = first; i < b.families.size(); ++i) b.families[i].loaded = b.loaded.contains(set.id);
  }
}

void joint_families(Building& b) {
  for (const auto& joint : b.car.joints) {
    const auto rate = turning_rate(b.rates, joint.shaft);
    if (!rate) continue;
    const Rate beats = *rate * beats_per_turn(joint.kind);
    b.add(joint.id, Fault::worn_joint, beats, spread_of(b.spreads, joint.shaft));
    b.add(joint.id, Fault::dry_joint, beats, spread_of(b.spreads, joint.shaft)).modulation = *rate;
  }
}

// A machine whose bearings are described answers through them; one without is judged as a whole.
bool described_by_bearings(const Car& car, std::string_view shaft) {
  return std::any_of(car.bearings.begin(), car.bearings.end(),
                     [&](const Bearing& bearing) { return bearing.shaft == shaft; });
}

void turning_part_families(Building& b) {
  for (const auto& part : b.car.parts) {
    const auto rate = turning_rate(b.rates, part.shaft);
    if (!rate) continue;
    const Spread spread = spread_of(b.spreads, part.shaft);
    if (part.role == PartRole::propshaft) b.add(part.id, Fault::out_of_balance, *rate, spread);
    if (part.role == PartRole::tyre) b.add(part.id, Fault::uneven_wear, *rate, {});
    if (part.role == PartRole::machine && !described_by_bearings(b.car, part.shaft))
      b.add(part.id, Fault::worn_machine, *rate, spread);
  }
}

}  // namespace

std::vector<Family> fault_families(const Car& car, const DriveState& state, const ShaftRates& rates) {
  Building b{car, state, rates, shaft_spreads(car, state), loaded_gears(car, state), {}};
  bearing_families(b);
  pair_families(b);
  epicyclic_families(b);
  joint_families(b);
  turning_part_families(b);
  return std::move(b.families);
}

}  // namespace gearhark
