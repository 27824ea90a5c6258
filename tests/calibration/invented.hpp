// Invented road tests whose truth is known: cars, faults, runs and what a mechanic would note of them, drawn
// from a seed; none is a model of models/.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "gearhark/car/driveline.hpp"
#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/synthesis/random_car.hpp"
#include "gearhark/synthesis/synthesis.hpp"

namespace gearhark::calibration {

// The engine of <random> is the same everywhere; its distributions are not.
class Draw {
 public:
  explicit Draw(std::uint64_t seed) : engine_(static_cast<std::uint32_t>(seed * 2654435761u + 17u)) {}
  double between(double low, double high) {
    return low + (high - low) * (static_cast<double>(engine_()) + 0.5) / 4294967296.0;
  }
  bool happens(double chance) { return between(0.0, 1.0) < chance; }
  std::size_t below(std::size_t count) {
    return std::min(count - 1, static_cast<std::size_t>(between(0.0, static_cast<double>(count))));
  }
  template <class T>
  const T& one_of(const std::vector<T>& values) {
    return values[below(values.size())];
  }

 private:
  std::mt19937 engine_;
};

struct PossibleFault {
  std::vector<PartRole> roles;
  std::vector<Fault> faults;
  double weight;
};
// How often a road test is about this, roughly (judged; common practice, no published source).
inline const std::vector<PossibleFault> possible{
    {{PartRole::input_bearing, PartRole::layshaft_bearing, PartRole::mainshaft_bearing,
      PartRole::pilot_bearing},
     {Fault::outer_race, Fault::inner_race, Fault::rolling_element},
     3.0},
    {{PartRole::pinion_head_bearing, PartRole::pinion_tail_bearing},
     {Fault::outer_race, Fault::inner_race, Fault::rolling_element, Fault::cage},
     3.5},
    {{PartRole::carrier_bearing}, {Fault::outer_race, Fault::inner_race, Fault::rolling_element}, 1.5},
    {{PartRole::wheel_bearing}, {Fault::outer_race, Fault::inner_race, Fault::rolling_element}, 2.5},
    {{PartRole::gear_pair, PartRole::constant_pair}, {Fault::worn_teeth, Fault::chipped_tooth}, 1.5},
    {{PartRole::ring_and_pinion}, {Fault::worn_teeth, Fault::chipped_tooth}, 2.0},
    {{PartRole::joint}, {Fault::worn_joint, Fault::dry_joint}, 1.0},
    {{PartRole::tyre}, {Fault::uneven_wear}, 1.0},
    {{PartRole::machine}, {Fault::worn_machine}, 0.7},
};
inline constexpr double healthy_share = 0.22;

inline std::optional<SoundFault> draw_fault(const Car& car, Draw& draw) {
  if (draw.happens(healthy_share)) return {};
  double sum = 0.0;
  for (const PossibleFault& p : possible) sum += p.weight;
  for (;;) {
    double at = draw.between(0.0, sum);
    auto chosen = possible.begin();
    while (at > chosen->weight && chosen + 1 != possible.end()) at -= (chosen++)->weight;
    std::vector<std::string> parts;
    for (const Part& part : car.parts)
      if (std::find(chosen->roles.begin(), chosen->roles.end(), part.role) != chosen->roles.end())
        parts.push_back(part.id);
    if (parts.empty()) continue;
    SoundFault fault;
    fault.part = draw.one_of(parts);
    fault.fault = draw.one_of(chosen->faults);
    fault.level = Decibels::already(draw.between(-14.0, 12.0));
    fault.extent = draw.happens(0.4) ? Extent::extended : Extent::point;
    return fault;
  }
}

// A speed at which the engine runs as people drive, and the road allows.
inline Speed draw_speed(const Car& car, const Gear& gear, Draw& draw) {
  const Length roll = car.tyre.rolling_circumference;
  const Speed any(draw.between(11.0, 22.0));
  const auto rates = shaft_rates(car, {gear, Clutch::engaged});
  if (gear.neutral() || !rates) return any;
  const double engine_per_wheel = std::abs(rates->at("engine").wheel);
  const double wheel_rate = draw.between(26.0, 58.0) / engine_per_wheel;
  return Speed(std::clamp(wheel_rate * roll.value(), 6.0, 30.0));
}

inline SoundRun draw_run(const Car& car, Draw& draw) {
  SoundRun run;
  std::vector<Gear> forward;
  for (const Gear& gear : car.gears)
    if (!gear.neutral() && gear.label != "1" && gear.label != "R") forward.push_back(gear);
  const double load = draw.between(0.0, 1.0);
  run.load = load < 0.55   ? Load::drive
             : load < 0.77 ? Load::floating
             : load < 0.9  ? Load::coast
                           : Load::neutral;
  run.gear = run.load == Load::neutral ? Gear{"N"} : draw.one_of(forward);
  run.speed = run.end_speed = draw_speed(car, run.gear, draw);
  if (run.load == Load::coast || run.load == Load::neutral) {
    run.course = Course::coast_down;
  } else if (draw.happens(0.15)) {
    run.course = Course::sweep;
    run.end_speed = Speed(run.speed.value() * draw.between(1.15, 1.5));
  }
  if (draw.happens(0.15)) run.turn = draw.happens(0.5) ? Turn::left : Turn::right;
  run.duration = Seconds(draw.between(14.0, 24.0));
  // With the engine braking nobody rolls on to a walking pace.
  if (run.load == Load::coast) {
    run.speed = run.end_speed = std::max(run.speed, Speed(13.0));
    run.duration = Seconds(draw.between(8.0, 12.0));
  }
  run.idle = ShaftRate(draw.between(12.0, 16.0));
  return run;
}

// What the mechanic would note of it: the needle's start and end, to 1 km/h.
inline Run note_of(const SoundRun& driven, const Sound& sound, double needle) {
  Run run;
  run.gear = driven.gear;
  run.load = driven.load;
  run.turn = driven.turn;
  const auto& wheel = sound.truth.motion.wheel;
  const auto half_second = static_cast<std::size_t>(0.5 / sound.truth.motion.step_s);
  const auto reading = [&](double turns) {
    const double kmh = 3.6 * needle * turns / 0.5 * sound.truth.rolling_circumference.value();
    return Speed(std::round(kmh) / 3.6);
  };
  const Speed first = reading(wheel[half_second] - wheel[0]),
              last = reading(wheel.back() - wheel[wheel.size() - 1 - half_second]);
  run.speed.points = {{Seconds(0.0), first}};
  if (driven.course != Course::steady) run.speed.points.push_back({driven.duration, last});
  return run;
}

// The sound of a run with what would be noted of it.
inline Result<RunSound> recorded(const Car& car, const SoundSettings& settings, double needle) {
  auto sound = synthesise(car, settings);
  if (!sound) return sound.error();
  RunSound out;
  out.run = note_of(settings.run, *sound, needle);
  out.recording.sample_rate = sound->sample_rate;
  out.recording.samples = std::move(sound->samples);
  return out;
}

// FIRST COUNT of the command line: prints these cases, one by one.
inline int print_cases(int count, char** words, void (*print_case)(std::uint64_t)) {
  if (count != 3) {
    std::fprintf(stderr, "usage: %s FIRST COUNT\n", words[0]);
    return 2;
  }
  const auto first = std::strtoull(words[1], nullptr, 10), cases = std::strtoull(words[2], nullptr, 10);
  for (std::uint64_t seed = first; seed < first + cases; ++seed) {
    print_case(seed);
    std::fflush(stdout);
  }
  return 0;
}

}  // namespace gearhark::calibration
