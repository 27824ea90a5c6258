// A bearing with a defect: the elements' passage over it, in a load zone, with slip.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "gearhark/car/bearing.hpp"
#include "scene.hpp"

namespace gearhark::synth {

namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;

struct Geometry {
  int count = 9;
  double gamma = 0.2;  // d/D cos(contact angle)
  double cosine = 1.0;
};

// What the car file does not say is drawn: every real bearing has some geometry.
Geometry geometry(const Bearing& bearing, Random& random) {
  const bool roller =
      bearing.element == RollingElement::taper_roller || bearing.element == RollingElement::needle;
  Geometry found;
  found.count = bearing.count.value_or(roller ? random.integer(14, 20) : random.integer(8, 12));
  const Filling filling = usual_filling(bearing.element);
  found.gamma = random.uniform(filling.least, filling.most) / found.count;
  found.cosine = random.uniform(filling.smallest_cosine, 1.0);
  if (!bearing.geometry_known()) return found;
  found.gamma = bearing.gamma();
  found.cosine = std::cos(bearing.contact_angle_degrees * std::numbers::pi / 180.0);
  return found;
}

struct Races {
  std::vector<double> inner, outer, cage;  // turns on the grid
  std::vector<double> spin;                // of an element about its own axis, seen from the cage
  double slip = 0.0;                       // mean
};

// Rolling without slip gives the cage (inner (1-gamma) + outer (1+gamma)) / 2 (Harris and Kotzalas). A real
// cage lags behind that, towards the slower ring, by the slip.
Races turn_races(const Scene& scene, const Bearing& bearing, const Geometry& geometry,
                 std::optional<double> slip) {
  Random character = scene.character("slip " + bearing.id), chance = scene.chance("slip " + bearing.id);
  const double drawn = character.uniform(0.005, 0.02);
  const double mean_slip = slip.value_or(drawn);
  const Turning& turning = scene.turning;
  Races races;
  const auto shaft = turning.angle(bearing.shaft);
  const std::vector<double> still(turning.steps(), 0.0);
  const bool outer_turns = bearing.turning == TurningRing::outer;
  races.inner = outer_turns ? still : shaft;
  races.outer = outer_turns                            ? shaft
                : bearing.turning == TurningRing::both ? turning.angle(bearing.outer_shaft)
                                                       : still;
  auto sliding = wander(chance, turning.steps(), turning.motion().step_s, 0.0012, 2.0);
  double mean = 0.0;
  for (double value : sliding) mean += value / static_cast<double>(sliding.size());
  races.cage = races.spin = still;
  const double spin_ratio =
      geometry.cosine * (1.0 - geometry.gamma * geometry.gamma) / (2.0 * geometry.gamma);
  const double shaft_travel = std::abs(races.inner.back() - races.inner.front());
  const bool outer_leads = std::abs(races.outer.back() - races.outer.front()) > shaft_travel;
  for (std::size_t i = 1; i < still.size(); ++i) {
    const double inner = races.inner[i] - races.inner[i - 1], outer = races.outer[i] - races.outer[i - 1];
    const double kept = 1.0 - mean_slip - (sliding[i] - mean);
    const double cage = outer_leads ? inner + 0.5 * (outer - inner) * (1.0 + geometry.gamma) * kept
                                    : outer + 0.5 * (inner - outer) * (1.0 - geometry.gamma) * kept;
    races.cage[i] = races.cage[i - 1] + cage;
    races.spin[i] = races.spin[i - 1] + (inner - outer) * spin_ratio * kept;
  }
  races.slip = mean_slip;
  return races;
}

// Stribeck's load round a radially loaded bearing: q = [1 - (1 - cos psi) / (2 epsilon)]^n, n = 3/2 for
// balls, 10/9 for rollers, nothing outside the zone (McFadden and Smith 1984).
struct LoadZone {
  double epsilon, exponent;
  [[nodiscard]] double operator()(double turns) const {
    const double inside = 1.0 - (1.0 - std::cos(two_pi * turns)) / (2.0 * epsilon);
    return 0.04 + (inside > 0.0 ? std::pow(inside, exponent) : 0.0);
  }
};

LoadZone load_zone(const Bearing& bearing, Random& random) {
  const bool roller =
      bearing.element != RollingElement::ball && bearing.element != RollingElement::angular_ball;
  const bool preloaded =
      bearing.element == RollingElement::taper_roller || bearing.element == RollingElement::angular_ball;
  return {preloaded ? random.uniform(0.8, 1.8) : random.uniform(0.4, 0.8), roller ? 10.0 / 9.0 : 1.5};
}

// How many defects pass per grid step, and where in space the defect lies.
struct Passage {
  std::vector<double> count;  // grows by 1 per event
  std::vector<double> place;  // turns
};

Passage passage(Fault fault, const Races& races, const Geometry& geometry) {
  Passage passed{races.cage, races.outer};
  const auto relative = [&](double times, const std::vector<double>& a, const std::vector<double>& b) {
    for (std::size_t i = 0; i < a.size(); ++i) passed.count[i] = times * (a[i] - b[i]);
  };
  switch (fault) {
    case Fault::inner_race:
      relative(geometry.count, races.inner, races.cage);
      passed.place = races.inner;
      break;
    case Fault::rolling_element:  // strikes both races in one turn of the element
      for (std::size_t i = 0; i < races.spin.size(); ++i) passed.count[i] = 2.0 * races.spin[i];
      passed.place = races.cage;
      break;
    case Fault::cage:
      passed.place = races.cage;
      relative(1.0, races.cage, races.outer);
      break;
    default:
      relative(geometry.count, races.cage, races.outer);
  }
  return passed;
}

// A point defect is one knock. A spalled area is many, spread over a good part of the spacing. A cage
// rattles.
void knock(Track& impacts, double time, double spacing, double strength, Extent extent, double width,
           Random& chance) {
  if (extent == Extent::point) return strike(impacts, time, strength);
  for (int i = 0; i < 7; ++i)
    strike(impacts, time + chance.uniform(0.0, width) * spacing, 0.5 * strength * chance.gaussian());
}

}  // namespace

FaultSound bearing_sound(const Scene& scene, const Bearing& bearing, const SoundFault& fault,
                         std::string_view stream) {
  Random character = scene.character(stream), chance = scene.chance(stream);
  Random unseen = scene.character("geometry " + bearing.id);
  const Geometry size = geometry(bearing, unseen);
  const Races races = turn_races(scene, bearing, size, fault.slip);
  const Passage passed = passage(fault.fault, races, size);
  const LoadZone zone = load_zone(bearing, character);
  const double step = scene.turning.motion().step_s;

  FaultSound sound{scene.silence(), {}, races.slip};
  if (std::abs(passed.count.back() - passed.count.front()) < 1.0) return sound;
  const bool cage = fault.fault == Fault::cage;
  sound.events = crossings(passed.count, step, character.uniform(), cage ? 0.05 : fault.jitter, chance);
  std::vector<double> element_strength;
  for (int i = 0; i < size.count; ++i) element_strength.push_back(character.scatter_db(0.0, 1.2));
  const double start = character.uniform(-0.11, 0.11);  // spalls start where the load is
  const double far_race = character.scatter_db(-3.0, 2.0), runout = character.uniform(0.05, 0.25);
  const double width = cage ? 0.3 : character.uniform(0.2, 0.45), pocket = 0.004;
  const auto spacing = scene.turning.seconds() / static_cast<double>(sound.events.size());
  // A defect on an element leaves the track at times: the element's axis drifts.
  const auto drift = wander(chance, scene.turning.steps(), step, 1.0, 0.25);

  Track impacts = scene.silence();
  for (std::size_t k = 0; k < sound.events.size(); ++k) {
    double& time = sound.events[k];
    time += pocket * spacing * chance.gaussian();  // does not add up: play in the cage's pockets
    double strength = zone(at(passed.place, step, time) + start) * chance.scatter_db(0.0, 1.5);
    strength *= 1.0 + runout * std::cos(two_pi * at(races.inner, step, time));
    if (fault.fault == Fault::rolling_element) {
      strength *= k % 2 == 0 ? 1.0 : far_race;
      if (at(drift, step, time) < -0.7) strength *= 0.15;
    } else if (!cage) {
      strength *= element_strength[k % element_strength.size()];
    }
    knock(impacts, time, spacing, strength, cage ? Extent::extended : fault.extent, width, chance);
  }
  sound.track = ring(impacts, draw_resonances(character, character.integer(1, 3), 700.0, 7000.0));
  return sound;
}

}  // namespace gearhark::synth
