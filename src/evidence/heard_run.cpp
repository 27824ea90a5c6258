#include "gearhark/evidence/heard_run.hpp"

#include <algorithm>
#include <cmath>

#include "gearhark/signal/resample.hpp"

namespace gearhark {
namespace {

constexpr double analysis_rate_hz = 16000.0;
constexpr double half_orders_to = 13.0;  // engine half orders 0.5 .. 13 are known to sound
// Firing is far louder than all else: what the shaft angle's error leaves of it beside its orders is masked
// too.
constexpr double firing_orders_to = 24.0, firing_half_width = 0.002;
constexpr int mesh_harmonics_to = 3;
constexpr int shaft_orders_to = 6;  // and a shaft's first turns
constexpr double half_track_m = 0.675;
constexpr double cornering_mps2 = 2.0;  // what people take a bend at

// Half difference of the two driven wheels over their mean, for a bend taken at the usual sideways
// acceleration.
double expected_bend(Turn turn, Speed speed) {
  if (turn == Turn::straight || speed.value() <= 0.0) return 0.0;
  const double radius_m = speed.value() * speed.value() / cornering_mps2;
  return (turn == Turn::left ? 1.0 : -1.0) * half_track_m / radius_m;
}

// The part of a rate that follows one reference, or 0 when it follows both.
double order_on(const Rate& rate, bool engine) {
  if (engine) return rate.engine_bound() ? std::abs(rate.engine) : 0.0;
  return rate.road_bound() ? std::abs(rate.wheel) : 0.0;
}

bool sounds_once_per_turn(std::string_view shaft, const Car& car) {
  if (shaft.ends_with("/loose")) return false;
  return std::none_of(car.belts.begin(), car.belts.end(),
                      [&](const Belt& belt) { return belt.driven == shaft; });
}

// Orders a healthy car shows on this reference.
std::vector<MaskedOrder> engine_orders(const ShaftRates& rates, double firing, bool engine) {
  std::vector<MaskedOrder> known;
  const auto found = rates.find("engine");
  const double turn = found == rates.end() ? 0.0 : order_on(found->second, engine);
  if (turn <= 0.0) return known;
  for (double half = 0.5; half <= half_orders_to; half += 0.5) known.push_back({half * turn});
  for (double order = firing; order <= firing_orders_to; order += firing)
    known.push_back({order * turn, firing_half_width});
  return known;
}

std::vector<MaskedOrder> shaft_orders(const Car& car, const ShaftRates& rates, bool engine) {
  std::vector<MaskedOrder> known;
  for (const auto& [shaft, rate] : rates) {
    const bool machine = !sounds_once_per_turn(shaft, car);
    if (machine && !(engine && !shaft.ends_with("/loose"))) continue;
    const double turn = order_on(rate, engine);
    for (int k = 1; turn > 0.0 && k <= shaft_orders_to; ++k) known.push_back({k * turn});
  }
  return known;
}

// Meshes come once per tooth, locked to the shafts as a chipped tooth is.
void add_meshes(std::vector<MaskedOrder>& known, const Car& car, const DriveState& state,
                const ShaftRates& rates, bool engine) {
  for (const Line& line : predicted_lines(car, state, rates))
    if (line.kind == LineKind::mesh && line.harmonic <= mesh_harmonics_to &&
        order_on(line.rate, engine) > 0.0)
      known.push_back({order_on(line.rate, engine)});
}

OnShaft spectra_on(const AngleTrack& reference, const AngleTrack* also, std::span<const float> samples,
                   const Car& car, const DriveState& state, const ShaftRates& rates, bool engine,
                   const EnvelopeSettings& settings) {
  const BandSpectra bands = band_spectra(samples, reference, also, settings);
  std::vector<MaskedOrder> known = engine_orders(rates, car.engine.firing_order().value(), engine);
  OnShaft out;
  std::vector<MaskedOrder> and_meshes = known;
  add_meshes(and_meshes, car, state, rates, engine);
  out.locked = grouped(bands, and_meshes, Order(0.2));
  const std::vector<MaskedOrder> shafts = shaft_orders(car, rates, engine);
  known.insert(known.end(), shafts.begin(), shafts.end());
  out.slipping = grouped(bands, known, Order(1.35));
  out.tones = order_spectrum(samples, settings.rate_hz, reference);
  return out;
}

// What a sound car's machines do: firing that is not quite even, and each machine's own turning, at a rate
// that its belt leaves open.
std::vector<Family> healthy_families(const Car& car, const ShaftRates& rates) {
  constexpr double uneven_firing = 0.012;
  std::vector<Family> healthy;
  if (const auto engine = rates.find("engine"); engine != rates.end()) {
    Family family;
    family.part = "engine";
    family.fault = Fault::out_of_balance;
    family.base = car.engine.firing_order().value() * engine->second;
    family.slip_low = -uneven_firing;
    family.slip_high = uneven_firing;
    healthy.push_back(family);
  }
  for (const Belt& belt : car.belts) {
    const auto turning = rates.find(belt.driven);
    if (turning == rates.end()) continue;
    Family family;
    family.part = belt.driven;
    family.fault = Fault::out_of_balance;
    family.base = turning->second;
    family.slip_low = -belt.creep_high - 0.002;
    family.slip_high = -belt.creep_low + 0.002;
    healthy.push_back(family);
  }
  return healthy;
}

// Knocks at any rate that a bearing or a joint of a car may have, for each turn of the wheel. Its part has no
// name.
Family unlisted_family() {
  Family family;
  family.base.wheel = 1.0;
  family.knowledge = Knowledge::nothing;
  family.geometry_low = 2.0;
  family.geometry_high = 16.0;
  return family;
}

// On a bench nothing rolls on its tyres.
void leave_out_tyres(std::vector<Family>& families, const Car& car) {
  std::erase_if(families, [&](const Family& family) {
    const Part* part = car.part(family.part);
    return part && part->role == PartRole::tyre;
  });
}

}  // namespace

HeardRun listen_to(const Car& car, const Run& run, std::span<const float> samples, double rate_hz,
                   Hertz bandwidth, const Tracking& tracking) {
  HeardRun heard;
  heard.state = {run.gear, run.clutch};
  heard.load = run.load;
  heard.turn = run.turn;
  if (auto rates = shaft_rates(car, heard.state)) heard.rates = *rates;
  heard.families = fault_families(car, heard.state, heard.rates);
  if (run.speed.source == SpeedSource::exact_shaft) leave_out_tyres(heard.families, car);
  heard.healthy = healthy_families(car, heard.rates);
  heard.unlisted = unlisted_family();
  heard.duration = Seconds(static_cast<double>(samples.size()) / rate_hz);
  heard.wheel_rate = ShaftRate(tracking.wheel.mean_rate());
  heard.bend = expected_bend(run.turn, heard.wheel_rate * car.tyre.rolling_circumference);

  const std::vector<float> sound = resample(samples, rate_hz, analysis_rate_hz);
  EnvelopeSettings settings;
  settings.rate_hz = analysis_rate_hz;
  settings.highest =
      Hertz(std::min(settings.highest.value(), std::min(bandwidth.value() * 1.05, 0.475 * rate_hz)));
  const AngleTrack* engine = tracking.engine ? &*tracking.engine : nullptr;
  heard.wheel = spectra_on(tracking.wheel, engine, sound, car, heard.state, heard.rates, false, settings);
  if (engine) {
    heard.engine_rate = ShaftRate(engine->mean_rate());
    heard.engine = spectra_on(*engine, &tracking.wheel, sound, car, heard.state, heard.rates, true, settings);
  }
  return heard;
}

std::optional<Place> place_of(const Family& family, const HeardRun& run) {
  const bool engine_bound = family.base.engine_bound() && !family.base.road_bound();
  if (engine_bound) {
    if (!run.engine) return std::nullopt;
    return Place{&*run.engine, std::abs(family.base.engine), std::abs(family.modulation.engine), true,
                 run.engine_rate};
  }
  if (!family.base.road_bound()) return std::nullopt;
  const double fundamental = std::abs(family.base.wheel + family.base.bend * run.bend);
  const double modulation = std::abs(family.modulation.wheel + family.modulation.bend * run.bend);
  if (fundamental <= 0.0) return std::nullopt;
  return Place{&run.wheel, fundamental, modulation, false, run.wheel_rate};
}

}  // namespace gearhark
