#include "gearhark/evidence/heard_run.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "gearhark/evidence/healthy_orders.hpp"
#include "gearhark/evidence/mean_spectra.hpp"
#include "gearhark/signal/resample.hpp"
#include "gearhark/units/memory.hpp"

namespace gearhark {
namespace {

constexpr double analysis_rate_hz = 16000.0;

// For either kind of events.
std::vector<Masking> maskings_of(const Car& car, const HeardRun& run, Reference on) {
  std::vector<Masking> maskings;
  for (const Events events : {Events::slipping, Events::locked})
    maskings.push_back({healthy_orders(car, run.state, run.rates, on, events), lowest_order(events)});
  return maskings;
}

OnShaft on_shaft(std::vector<EnvelopeSpectra> by_events, OrderSpectrum tones) {
  return {std::move(by_events[0]), std::move(by_events[1]), std::move(tones)};
}

OnShaft spectra_on(const AngleTrack& reference, const AngleTrack* also, std::vector<float> samples,
                   const Car& car, const HeardRun& run, Reference on, const EnvelopeSettings& settings) {
  OrderSpectrum tones = order_spectrum(samples, settings.rate_hz, reference);
  return on_shaft(grouped(std::move(samples), reference, also, settings, maskings_of(car, run, on)),
                  std::move(tones));
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

// A run before its sound is looked at.
HeardRun as_noted(const Car& car, const Run& run) {
  HeardRun heard;
  heard.state = {run.gear, run.clutch};
  heard.load = run.load;
  heard.turn = run.turn;
  if (auto rates = shaft_rates(car, heard.state)) heard.rates = *rates;
  heard.families = fault_families(car, heard.state, heard.rates);
  if (run.speed.source == SpeedSource::exact_shaft) leave_out_tyres(heard.families, car);
  heard.healthy = healthy_families(car, heard.rates);
  heard.unlisted = unlisted_family();
  return heard;
}

EnvelopeSettings settings_for(double rate_hz, Hertz bandwidth) {
  EnvelopeSettings settings;
  settings.rate_hz = analysis_rate_hz;
  settings.highest =
      Hertz(std::min(settings.highest.value(), std::min(bandwidth.value() * 1.05, 0.475 * rate_hz)));
  return settings;
}

// The mean spectra of the pieces so far on one shaft.
struct SumsOnShaft {
  MeanBandSpectra bands;
  MeanOrderSpectrum tones;
  double turned = 0.0, seconds = 0.0;

  void add(const AngleTrack& reference, const AngleTrack* also, std::vector<float> samples,
           EnvelopeSettings settings, double turns) {
    settings.turns = turns;
    const double length = static_cast<double>(samples.size() - 1) / settings.rate_hz;
    const double passed = reference.at(length) - reference.at(0.0), weight = std::min(1.0, passed / turns);
    tones.add(order_spectrum(samples, settings.rate_hz, reference, turns), weight);
    for_each_band_level(std::move(samples), reference, also, settings,
                        [&](const BandLevelSpectra& level) { bands.add_level(level, weight); });
    bands.end_piece(reference.mean_rate(), weight);
    turned += passed;
    seconds += length;
  }
  [[nodiscard]] ShaftRate rate() const { return ShaftRate(seconds > 0.0 ? turned / seconds : 0.0); }
  [[nodiscard]] OnShaft mean(const Car& car, const HeardRun& run, Reference on) && {
    return on_shaft(grouped(std::move(bands).mean(), maskings_of(car, run, on)), std::move(tones).mean());
  }
};

}  // namespace

HeardRun listen_to(const Car& car, const Run& run, std::span<const float> samples, double rate_hz,
                   Hertz bandwidth, const Tracking& tracking) {
  HeardRun heard = as_noted(car, run);
  heard.duration = Seconds(static_cast<double>(samples.size()) / rate_hz);
  heard.wheel_rate = ShaftRate(tracking.wheel.mean_rate());
  heard.bend = expected_bend(run.turn, heard.wheel_rate * car.tyre.rolling_circumference);

  const EnvelopeSettings settings = settings_for(rate_hz, bandwidth);
  std::vector<float> sound = resample(samples, rate_hz, analysis_rate_hz);
  const AngleTrack* engine = tracking.engine ? &*tracking.engine : nullptr;
  heard.wheel = spectra_on(tracking.wheel, engine, engine ? sound : std::move(sound), car, heard,
                           Reference::wheel, settings);
  if (engine) {
    heard.engine_rate = ShaftRate(engine->mean_rate());
    heard.engine =
        spectra_on(*engine, &tracking.wheel, std::move(sound), car, heard, Reference::engine, settings);
  }
  return heard;
}

struct PieceListener::State {
  const Car& car;
  const Run run;
  const double rate_hz;
  const EnvelopeSettings settings;
  const Turns turns;
  SumsOnShaft wheel, engine;
  double seconds = 0.0;
};

PieceListener::PieceListener(const Car& car, const Run& run, double rate_hz, Hertz bandwidth, Turns turns)
    : state_(new State{car, run, rate_hz, settings_for(rate_hz, bandwidth), turns, {}, {}}) {}
PieceListener::~PieceListener() = default;
PieceListener::PieceListener(PieceListener&&) noexcept = default;
PieceListener& PieceListener::operator=(PieceListener&&) noexcept = default;

void PieceListener::add(std::vector<float> samples, const Tracking& tracking) {
  State& s = *state_;
  s.seconds += static_cast<double>(samples.size()) / s.rate_hz;
  std::vector<float> sound = resample(samples, s.rate_hz, analysis_rate_hz);
  std::vector<float>().swap(samples);  // three times as large
  const AngleTrack* engine = tracking.engine ? &*tracking.engine : nullptr;
  s.wheel.add(tracking.wheel, engine, engine ? sound : std::move(sound), s.settings, s.turns.wheel);
  if (engine && s.turns.engine > 0.0)
    s.engine.add(*engine, &tracking.wheel, std::move(sound), s.settings, s.turns.engine);
}

HeardRun PieceListener::heard() && {
  State s = std::move(*state_);
  // What the pieces were made in lies free between what is kept, and sums as large as all of it come next.
  give_back_freed_memory();
  HeardRun heard = as_noted(s.car, s.run);
  heard.duration = Seconds(s.seconds);
  heard.wheel_rate = s.wheel.rate();
  heard.bend = expected_bend(s.run.turn, heard.wheel_rate * s.car.tyre.rolling_circumference);
  heard.wheel = std::move(s.wheel).mean(s.car, heard, Reference::wheel);
  if (s.engine.seconds > 0.0) {
    heard.engine_rate = s.engine.rate();
    heard.engine = std::move(s.engine).mean(s.car, heard, Reference::engine);
  }
  return heard;
}

std::optional<FamilyOrders> orders_of(const Family& family, double bend) {
  if (family.base.engine_bound() && !family.base.road_bound())
    return FamilyOrders{std::abs(family.base.engine), std::abs(family.modulation.engine), Reference::engine};
  if (!family.base.road_bound()) return std::nullopt;
  const FamilyOrders orders{std::abs(family.base.wheel + family.base.bend * bend),
                            std::abs(family.modulation.wheel + family.modulation.bend * bend),
                            Reference::wheel};
  if (orders.fundamental <= 0.0) return std::nullopt;
  return orders;
}

std::optional<Place> place_of(const Family& family, const HeardRun& run) {
  const auto orders = orders_of(family, run.bend);
  if (!orders) return std::nullopt;
  const bool engine_bound = orders->on == Reference::engine;
  if (engine_bound && !run.engine) return std::nullopt;
  return Place{engine_bound ? &*run.engine : &run.wheel, orders->fundamental, orders->modulation,
               engine_bound, engine_bound ? run.engine_rate : run.wheel_rate};
}

}  // namespace gearhark
