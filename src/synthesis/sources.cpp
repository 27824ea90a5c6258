// The healthy car and its surroundings.
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "scene.hpp"

namespace gearhark::synth {

namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;

// One turn of a wheel or rotor as a waveform, read at the shaft's angle.
using Waveform = std::vector<float>;
constexpr std::size_t waveform_points = 4096;

void play(Track& track, const Waveform& turn, std::span<const double> angle, double gain) {
  for (std::size_t i = 0; i + 1 < angle.size(); ++i) {
    const double slope = (angle[i + 1] - angle[i]) / samples_per_step;
    for (std::size_t s = 0; s < samples_per_step; ++s) {
      const double turns = angle[i] + slope * static_cast<double>(s);
      const double place = (turns - std::floor(turns)) * waveform_points;
      const auto low = static_cast<std::size_t>(place) % waveform_points;
      const auto share = static_cast<float>(place - std::floor(place));
      track[i * samples_per_step + s] +=
          static_cast<float>(gain) * std::lerp(turn[low], turn[(low + 1) % waveform_points], share);
    }
  }
}

// A tread of `pitches` blocks of three lengths in random order, which spreads its hum over many wheel orders.
Waveform tread(Random& random, int pitches) {
  std::vector<double> lengths;
  for (int i = 0; i < pitches; ++i) lengths.push_back(0.86 + 0.15 * random.integer(0, 2));
  double around = 0.0;
  for (double length : lengths) around += length;
  Waveform turn(waveform_points, 0.0f);
  double from = 0.0;
  std::size_t block = 0;
  for (std::size_t i = 0; i < waveform_points; ++i) {
    const double place = static_cast<double>(i) / waveform_points * around;
    while (place > from + lengths[block] && block + 1 < lengths.size()) from += lengths[block++];
    const double phase = two_pi * (place - from) / lengths[block];
    turn[i] = static_cast<float>(std::sin(phase) + 0.4 * std::sin(2.0 * phase + 1.0));
  }
  return turn;
}

struct EngineLevels {
  double combustion_db, valves_db;
};
EngineLevels engine_levels(Load load) {
  switch (load) {
    case Load::drive:
      return {-3.0, -24.0};
    case Load::floating:
      return {-10.0, -25.0};
    case Load::coast:
      return {-10.0, -25.0};
    case Load::neutral:
      return {-9.0, -26.0};
  }
  return {};
}

}  // namespace

double amplitude(double db) { return std::pow(10.0, db / 20.0); }

std::vector<double> speed_gain(const Scene& scene, double db_per_decade) {
  std::vector<double> gain(scene.turning.steps());
  for (std::size_t i = 0; i < gain.size(); ++i) {
    const double speed = std::max(scene.turning.road_speed(i), 1.0);
    gain[i] = amplitude(db_per_decade * std::log10(speed / (80.0 / 3.6)));
  }
  return gain;
}

// Combustion: a pulse per cylinder, unequal between cylinders and from cycle to cycle, through exhaust and
// engine bay. Valve gear: two light knocks per cylinder and cycle.
Track engine_sound(const Scene& scene) {
  if (!scene.turning.turns("engine")) return scene.silence();
  Random character = scene.character("engine"), chance = scene.chance("engine");
  const Engine& engine = scene.car.engine;
  const double turns_per_cycle = engine.strokes / 2.0;
  auto cycles = scene.turning.angle("engine");
  for (double& turned : cycles) turned /= turns_per_cycle;

  Track combustion = scene.silence(), valves = scene.silence();
  const double step = scene.turning.motion().step_s;
  for (int cylinder = 0; cylinder < engine.cylinders; ++cylinder) {
    const double strength = character.gaussian(1.0, 0.11),
                 offset = static_cast<double>(cylinder) / engine.cylinders;
    for (double time : crossings(cycles, step, offset + character.gaussian(0.0, 0.001), 0.0, chance))
      strike(combustion, time, strength * chance.gaussian(1.0, 0.06));
    for (int valve = 0; valve < 2; ++valve)
      for (double time : crossings(cycles, step, offset + character.uniform(), 0.0, chance))
        strike(valves, time, strength * chance.scatter_db(0.0, 2.5));
  }
  auto pipe = draw_resonances(character, 5, 55.0, 700.0);
  for (Resonance& mode : pipe)
    mode = {mode.hz, character.uniform(0.12, 0.35), mode.gain * std::pow(120.0 / mode.hz, 0.5)};
  Track sound = ring(combustion, pipe);
  Section::low_pass(character.log_uniform(150.0, 350.0), 0.6).run(sound);
  const Track clatter = ring(valves, draw_resonances(character, 4, 900.0, 5000.0));

  const EngineLevels levels = engine_levels(scene.settings.run.load);
  // Combustion noise grows with engine speed; 0 dB at 50 turns a second.
  const double speed_db =
      22.0 * std::log10(std::max(std::abs(scene.turning.mean_rate("engine")), 5.0) / 50.0);
  const double engine_db =
      scene.settings.surroundings.engine.value() + speed_db + character.gaussian(0.0, 2.0);
  const double pulse = amplitude(engine_db + levels.combustion_db) / std::max(rms(sound), 1e-12);
  for (float& sample : sound) sample *= static_cast<float>(pulse);
  add(sound, clatter, amplitude(engine_db + levels.valves_db) / std::max(rms(clatter), 1e-12));
  return sound;
}

// Belt-driven machines: a fan's or rotor's whine and a little once per turn.
Track machine_sound(const Scene& scene) {
  Track sound = scene.silence();
  for (const Belt& belt : scene.car.belts) {
    if (!scene.turning.turns(belt.driven)) continue;
    Random character = scene.character("machine " + belt.id);
    Waveform turn(waveform_points);
    const int drawn = character.integer(6, 12), blades = belt.blades > 0 ? belt.blades : drawn;
    const int slots = character.integer(24, 36);
    const double fan = character.scatter_db(-4.0, 3.0), hum = character.scatter_db(-8.0, 4.0);
    for (std::size_t i = 0; i < waveform_points; ++i) {
      const double angle = two_pi * static_cast<double>(i) / waveform_points;
      turn[i] =
          static_cast<float>(0.3 * std::sin(angle) + fan * std::sin(blades * angle) +
                             0.5 * fan * std::sin(2 * blades * angle + 1.0) + hum * std::sin(slots * angle));
    }
    play(sound, turn, scene.turning.angle(belt.driven), amplitude(-27.0));
  }
  return sound;
}

std::vector<Mesh> meshes(const Scene& scene) {
  std::vector<Mesh> found;
  const Gear& gear = scene.settings.run.gear;
  const auto loaded = loaded_gears(scene.car, {gear, scene.settings.run.clutch});
  for (const GearPair& pair : scene.car.pairs) {
    if (!scene.turning.turns(pair.driving) || !pair.meshes_in(gear)) continue;
    Mesh mesh{pair.id,
              {},
              scene.turning.angle(pair.driving),
              scene.turning.angle(pair.driven),
              pair.driving_teeth,
              pair.driven_teeth,
              loaded.contains(pair.id)};
    mesh.cycles = mesh.first;
    for (double& turned : mesh.cycles) turned *= pair.driving_teeth;
    found.push_back(std::move(mesh));
  }
  for (const EpicyclicSet& set : scene.car.epicyclics) {
    const auto sun = scene.turning.angle(set.sun), ring = scene.turning.angle(set.ring);
    const auto carrier = scene.turning.angle(set.carrier);
    Mesh mesh{set.id, sun, sun, ring, set.sun_teeth, set.ring_teeth, loaded.contains(set.id)};
    for (std::size_t i = 0; i < sun.size(); ++i) {
      mesh.first[i] -= carrier[i];
      mesh.second[i] -= carrier[i];
      mesh.cycles[i] = set.sun_teeth * mesh.first[i];
    }
    if (std::abs(mesh.cycles.back() - mesh.cycles.front()) > 1.0) found.push_back(std::move(mesh));
  }
  return found;
}

// Every mesh sounds, in the healthiest car: harmonics of unequal level, both gears' runout once per turn.
Track gear_sound(const Scene& scene) {
  Track sound = scene.silence();
  const auto speed = speed_gain(scene, 25.0);
  for (const Mesh& mesh : meshes(scene)) {
    Random character = scene.character("mesh " + mesh.part);
    const Path path(character, 4.0);
    std::array<double, 5> level{}, phase{};
    for (std::size_t k = 0; k < level.size(); ++k) {
      level[k] = character.scatter_db(-5.5 * static_cast<double>(k), k == 0 ? 3.5 : 5.0);
      phase[k] = two_pi * character.uniform();
    }
    const double depth1 = character.uniform(0.04, 0.2), depth2 = character.uniform(0.03, 0.15);
    const double start1 = two_pi * character.uniform(), start2 = two_pi * character.uniform();
    const double slow1 = character.uniform(0.02, 0.15), slow2 = character.uniform(0.02, 0.1);
    const double level_db = -22.0 + scene.settings.surroundings.gears.value();
    const double loudness = amplitude(level_db) * mesh_gain(scene, mesh) * std::numbers::sqrt2;

    const std::size_t steps = scene.turning.steps();
    std::vector<double> swell(steps), cycles(steps);
    for (std::size_t i = 0; i < steps; ++i) {
      const double turn1 = two_pi * mesh.first[i] + start1, turn2 = two_pi * mesh.second[i] + start2;
      swell[i] = loudness * speed[i] * (1.0 + depth1 * std::cos(turn1) + depth2 * std::cos(turn2));
      cycles[i] = mesh.cycles[i] + (slow1 * std::sin(turn1) + slow2 * std::sin(turn2)) / two_pi;
    }
    for (std::size_t i = 0; i + 1 < steps; ++i) {
      const double slope = (cycles[i + 1] - cycles[i]) / samples_per_step;
      const double hz = std::abs(mesh.cycles[i + 1] - mesh.cycles[i]) / scene.turning.motion().step_s;
      std::array<double, 5> real{}, imaginary{};
      for (std::size_t k = 0; k < level.size(); ++k) {
        const double tone = hz * static_cast<double>(k + 1);
        const double size = tone < 15000.0 ? level[k] * path.gain(tone) : 0.0;
        real[k] = size * std::cos(phase[k]);
        imaginary[k] = size * std::sin(phase[k]);
      }
      double c = std::cos(two_pi * cycles[i]), s = std::sin(two_pi * cycles[i]);
      const double turn_c = std::cos(two_pi * slope), turn_s = std::sin(two_pi * slope);
      const double swell_slope = (swell[i + 1] - swell[i]) / samples_per_step;
      for (std::size_t n = 0; n < samples_per_step; ++n) {
        double re = 0.0, im = 0.0;
        for (std::size_t k = level.size(); k-- > 0;) {  // Horner: harmonics are powers
          const double more = re + real[k];
          im += imaginary[k];
          re = more * c - im * s;
          im = more * s + im * c;
        }
        const double swell_now = swell[i] + swell_slope * static_cast<double>(n);
        sound[i * samples_per_step + n] += static_cast<float>(swell_now * re);
        const double next_c = c * turn_c - s * turn_s;
        s = c * turn_s + s * turn_c;
        c = next_c;
      }
    }
  }
  return sound;
}

Track tyre_sound(const Scene& scene) {
  Track sound = scene.silence();
  Random make = scene.character("tread");
  const int pitches = scene.car.tyre.tread_pitches.value_or(make.integer(58, 76));
  const Waveform pattern = tread(make, pitches);  // four tyres of one make
  for (const Shaft& shaft : scene.car.shafts) {
    if (!shaft.id.starts_with("wheel_") || !scene.turning.turns(shaft.id)) continue;
    Random character = scene.character("tyre " + shaft.id);
    auto angle = scene.turning.angle(shaft.id);
    const double start = character.uniform();
    for (double& turned : angle) turned += start;
    play(sound, pattern, angle, amplitude(character.gaussian(-25.0, 3.0)));
  }
  scale(sound, speed_gain(scene, 40.0));
  return sound;
}

// Coloured noise: about flat from 60 Hz to a corner, then falling; the air in the tyres and the body's panels
// stand out.
Track road_sound(const Scene& scene) {
  Random character = scene.character("road"), chance = scene.chance("road");
  const double corner = character.log_uniform(350.0, 700.0), fall = character.uniform(1.2, 1.6);
  const Path path(character, 2.5);
  const auto response = [&](double hz) {
    const double low = 1.0 / (1.0 + std::pow(45.0 / hz, 2.0));
    const double high = std::pow(1.0 + std::pow(hz / corner, 2.0), -0.5 * fall);
    const double cavity = 1.0 + 1.2 * std::exp(-0.5 * std::pow((hz - 225.0) / 14.0, 2.0));
    return low * high * cavity * path.gain(hz);
  };
  Track sound = shaped_noise(scene.turning.samples(), chance, response);
  auto gain = speed_gain(scene, 35.0);
  const auto surface = wander(chance, gain.size(), scene.turning.motion().step_s, 1.1, 2.5);
  const auto patches = wander(chance, gain.size(), scene.turning.motion().step_s, 0.7, 0.25);
  const double level = scene.settings.surroundings.road.value();
  for (std::size_t i = 0; i < gain.size(); ++i) gain[i] *= amplitude(level + surface[i] + patches[i]);
  scale(sound, gain);
  return sound;
}

// Gusts below 120 Hz and a hiss round the pillars.
Track wind_sound(const Scene& scene) {
  Random character = scene.character("wind"), chance = scene.chance("wind");
  const auto rush = [](double hz) { return std::pow(1.0 + std::pow(hz / 60.0, 2.0), -0.9); };
  const double centre = character.log_uniform(700.0, 2500.0);
  const auto hiss = [&](double hz) { return std::exp(-0.5 * std::pow(std::log(hz / centre) / 0.9, 2.0)); };
  Track gusts = shaped_noise(scene.turning.samples(), chance, rush);
  Track sound = shaped_noise(scene.turning.samples(), chance, hiss);
  auto gain = speed_gain(scene, 60.0);
  const auto strength = wander(chance, gain.size(), scene.turning.motion().step_s, 3.0, 0.6);
  const double level = scene.settings.surroundings.wind.value();
  std::vector<double> gust_gain(gain.size());
  for (std::size_t i = 0; i < gain.size(); ++i) {
    gust_gain[i] = gain[i] * amplitude(level - 9.0 + strength[i]);
    gain[i] *= amplitude(level - 22.0 + 0.3 * strength[i]);
  }
  scale(gusts, gust_gain);
  scale(sound, gain);
  add(sound, gusts);
  return sound;
}

// Expansion joints and potholes: front axle, then rear axle a wheelbase later; a thump and a short rattle.
Track bump_sound(const Scene& scene) {
  Random character = scene.character("bumps"), chance = scene.chance("bumps");
  Track hits = scene.silence(), rattle = scene.silence();
  const double per_minute = scene.settings.surroundings.bumps_per_minute,
               wheelbase = character.uniform(2.2, 2.7);
  const double speed = scene.turning.road_speed(scene.turning.steps() / 2);
  for (double time = 0.0; per_minute > 0.0;) {
    time += chance.exponential(60.0 / per_minute);
    if (time >= scene.turning.seconds()) break;
    const double strength = chance.scatter_db(0.0, 4.0);
    for (double axle : {0.0, wheelbase / std::max(speed, 1.0)}) {
      strike(hits, time + axle, strength);
      for (int i = 0; i < 25; ++i)
        strike(rattle, time + axle + chance.exponential(0.025), strength * chance.gaussian());
    }
  }
  std::vector<Resonance> body;
  for (int i = 0; i < 4; ++i)
    body.push_back({character.log_uniform(18.0, 160.0), character.uniform(0.06, 0.15), 1.6});
  Track sound = ring(hits, body);
  add(sound, ring(rattle, draw_resonances(character, 3, 250.0, 2500.0)), 0.12);
  return sound;
}

}  // namespace gearhark::synth
