#include "gearhark/synthesis/synthesis.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "scene.hpp"

namespace gearhark {

namespace {

using namespace synth;

bool can_have(PartRole role, Fault fault) {
  switch (fault) {
    case Fault::outer_race:
    case Fault::inner_race:
    case Fault::rolling_element:
    case Fault::cage:
      return role <= PartRole::other_bearing;
    case Fault::worn_teeth:
    case Fault::chipped_tooth:
      return role >= PartRole::gear_pair && role <= PartRole::transfer_pair;
    case Fault::worn_joint:
    case Fault::dry_joint:
      return role == PartRole::joint;
    case Fault::out_of_balance:
      return role == PartRole::propshaft || role == PartRole::tyre;
    case Fault::uneven_wear:
      return role == PartRole::tyre;
    case Fault::worn_machine:
      return role == PartRole::machine;
  }
  return false;
}

std::optional<Error> mistake(const Car& car, const SoundSettings& settings) {
  const double seconds = settings.run.motion ? static_cast<double>(settings.run.motion->wheel.size()) *
                                                   settings.run.motion->step_s
                                             : settings.run.duration.value();
  if (!(seconds >= 0.5 && seconds <= 600.0))
    return Error{fmt::format("A sound of {:g} s can't be made: ask for 0.5 to 600 s.", seconds)};
  if (settings.run.motion && settings.run.motion->step_s != Motion{}.step_s)
    return Error{fmt::format("A motion given every {:g} ms can't be used: give it every {:g} ms.",
                             1e3 * settings.run.motion->step_s, 1e3 * Motion{}.step_s)};
  if (!settings.fault) return std::nullopt;
  const Part* part = car.part(settings.fault->part);
  if (!part)
    return Error{fmt::format("'{}' has no part '{}'; the parts' IDs stand in its car file.", car.name,
                             settings.fault->part)};
  if (!can_have(part->role, settings.fault->fault))
    return Error{fmt::format("The part '{}' can't have the fault '{}'; choose another part or fault.",
                             part->id, to_text(settings.fault->fault))};
  return std::nullopt;
}

// The gain that makes `what` stand `level` over `rest` in the third-octave band where it stands out most.
double gain_for(const Track& what, const std::vector<double>& rest, Decibels level) {
  const auto bands = third_octaves(what);
  double most = 0.0;
  for (std::size_t b = 0; b < std::min(bands.size(), rest.size()); ++b)
    most = std::max(most, bands[b] / std::max(rest[b], 1e-30));
  return most > 0.0 ? level.amplitude_ratio() / std::sqrt(most) : 0.0;
}

// No bearing is silent: each murmurs a little, as a worn-in one does.
void add_murmurs(const Scene& scene, Track& background) {
  const auto bands = third_octaves(background);
  for (const Bearing& bearing : scene.car.bearings) {
    Random character = scene.character("murmur " + bearing.id);
    const Fault race = character.uniform() < 0.6 ? Fault::outer_race : Fault::inner_race;
    const double level = scene.settings.surroundings.healthy_bearings.value() + character.gaussian(0.0, 4.0);
    const SoundFault murmur{bearing.id, race, {}, {}, 0.01, Extent::extended};
    const Track sound = bearing_sound(scene, bearing, murmur, "murmur " + bearing.id).track;
    add(background, sound,
        gain_for(sound, bands, Decibels::already(level)) * state_gain(scene, bearing.id, race));
  }
}

Track healthy_car(const Scene& scene) {
  Track sound = engine_sound(scene);
  for (const auto source : {machine_sound, gear_sound, tyre_sound, road_sound, wind_sound, bump_sound})
    add(sound, source(scene));
  add_murmurs(scene, sound);
  return sound;
}

SoundTruth truth(const Car& car, const Turning& turning, std::uint64_t car_seed) {
  SoundTruth known;
  known.motion = turning.motion();
  known.mean_wheel = ShaftRate((known.motion.wheel.back() - known.motion.wheel.front()) / turning.seconds());
  known.mean_engine = ShaftRate(std::abs(turning.mean_rate("engine")));
  known.rolling_circumference = true_circumference(car, car_seed);
  return known;
}

// The fault at its level; notes in `known` what it did.
Track fault_share(const Scene& scene, const Track& background, SoundTruth& known) {
  if (!scene.settings.fault) return scene.silence();
  const SoundFault& fault = *scene.settings.fault;
  FaultSound made = fault_sound(scene, fault);
  const double state = state_gain(scene, fault.part, fault.fault);
  const double gain = state * gain_for(made.track, third_octaves(background), fault.level);
  known.slip = made.slip;
  if (gain > 0.0) {
    known.event_times = std::move(made.events);
    known.level = fault.level + Decibels::of_amplitude_ratio(state);
  }
  for (float& sample : made.track) sample *= static_cast<float>(gain);
  return made.track;
}

// What arrives at the phone through cabin and microphone.
void record(const Scene& scene, Track& track) {
  cabin(scene, track);
  microphone(scene, track);
}

}  // namespace

Result<Sound> synthesise(const Car& car, const SoundSettings& asked) {
  if (const auto error = mistake(car, asked)) return *error;
  SoundSettings settings = asked;
  if (settings.run.gear.neutral()) settings.run.load = Load::neutral;
  auto rates = shaft_rates(car, {settings.run.gear, settings.run.clutch});
  if (!rates) return rates.error();
  const Turning turning(car, settings, *rates, drive(car, settings));
  const Scene scene{car, settings, turning};

  Sound sound;
  sound.sample_rate = sample_rate;
  sound.truth = truth(car, turning, settings.car_seed);
  sound.samples = healthy_car(scene);
  sound.fault_share = fault_share(scene, sound.samples, sound.truth);
  record(scene, sound.samples);
  record(scene, sound.fault_share);
  add(sound.samples, sound.fault_share);
  const auto gain = static_cast<float>(phone(scene, sound.samples));
  for (float& sample : sound.fault_share) sample *= gain;
  return sound;
}

Result<std::vector<float>> synthesise_fault(const Car& car, const SoundSettings& settings) {
  if (const auto error = mistake(car, settings)) return *error;
  if (!settings.fault) return Error{"No fault was given to make the sound of."};
  auto rates = shaft_rates(car, {settings.run.gear, settings.run.clutch});
  if (!rates) return rates.error();
  const Turning turning(car, settings, *rates, drive(car, settings));
  const Scene scene{car, settings, turning};
  Track sound = fault_sound(scene, *settings.fault).track;
  if (rms(sound) == 0.0)
    return Error{
        fmt::format("The part '{}' stands still in gear {}.", settings.fault->part, settings.run.gear.label)};
  record(scene, sound);
  return sound;
}

std::vector<float> with_fault(std::span<const float> recording, std::span<const float> fault, Decibels level,
                              Hertz bandwidth) {
  const std::size_t count = std::min(recording.size(), fault.size());
  std::vector<float> sum(recording.begin(), recording.begin() + static_cast<std::ptrdiff_t>(count));
  const Track what(fault.begin(), fault.begin() + static_cast<std::ptrdiff_t>(count));
  add(sum, what, gain_for(what, third_octaves(sum, bandwidth), level));
  return sum;
}

}  // namespace gearhark
