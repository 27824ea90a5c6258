// The faults of gears, shafts, joints, tyres and belt-driven machines.
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "scene.hpp"

namespace gearhark::synth {

namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;

// Sum of tones at harmonics 1.. of the angle, with amplitudes as given, shaped by a path.
Track tones(const Scene& scene, std::span<const double> angle, const std::vector<double>& levels,
            Random& random) {
  Track sound = scene.silence();
  const Path path(random, 3.0);
  for (std::size_t k = 0; k < levels.size(); ++k) {
    const double start = random.uniform(), times = static_cast<double>(k + 1);
    for (std::size_t i = 0; i + 1 < angle.size(); ++i) {
      const double slope = (angle[i + 1] - angle[i]) / samples_per_step;
      const double hz = std::abs(slope) * sample_rate * times, level = levels[k] * path.gain(hz);
      for (std::size_t s = 0; s < samples_per_step; ++s) {
        const double turns = times * (angle[i] + slope * static_cast<double>(s)) + start;
        sound[i * samples_per_step + s] +=
            static_cast<float>(level * std::sin(two_pi * (turns - std::floor(turns))));
      }
    }
  }
  return sound;
}

// `per_turn` knocks at fixed places of a turn, locked to the shaft, of unequal strength.
FaultSound knocks(const Scene& scene, std::span<const double> angle, int per_turn, double unequal_db,
                  double scatter_db, std::vector<Resonance> resonances, Random& character, Random& chance) {
  FaultSound sound{scene.silence(), {}, {}};
  Track impacts = scene.silence();
  const double first = character.uniform();
  for (int i = 0; i < per_turn; ++i) {
    const double strength = character.scatter_db(0.0, unequal_db);
    const double place = first + static_cast<double>(i) / per_turn;
    for (double time : crossings(angle, scene.turning.motion().step_s, place, 0.0, chance)) {
      strike(impacts, time, strength * chance.scatter_db(0.0, scatter_db));
      sound.events.push_back(time);
    }
  }
  std::ranges::sort(sound.events);
  sound.track = ring(impacts, resonances);
  return sound;
}

// The depth of wear of each tooth round a gear: worse on one side, and unequal from tooth to tooth.
std::vector<double> tooth_wear(int teeth, Random& random) {
  std::vector<double> wear;
  const double once = random.uniform(0.3, 0.7), twice = random.uniform(0.1, 0.4), phase1 = random.uniform();
  const double phase2 = random.uniform(), rough = random.uniform(0.08, 0.25);
  for (int tooth = 0; tooth < teeth; ++tooth) {
    const double around = static_cast<double>(tooth) / teeth;
    wear.push_back(1.0 + once * std::cos(two_pi * (around + phase1)) +
                   twice * std::cos(two_pi * (2 * around + phase2)) + rough * random.gaussian());
  }
  return wear;
}

double wear_at(const std::vector<double>& wear, double turns) {
  const double place = (turns - std::floor(turns)) * static_cast<double>(wear.size());
  const auto tooth = static_cast<std::size_t>(place) % wear.size();
  const double share = place - std::floor(place), smooth = share * share * (3.0 - 2.0 * share);
  return std::lerp(wear[tooth], wear[(tooth + 1) % wear.size()], smooth);
}

// Worn flanks: strong upper harmonics of the mesh, scaled by how worn the teeth in contact are.
FaultSound worn_teeth(const Scene& scene, const Mesh& mesh) {
  Random character = scene.character("worn " + mesh.part), chance = scene.chance("worn " + mesh.part);
  FaultSound sound{scene.silence(), {}, {}};
  const auto wear1 = tooth_wear(mesh.first_teeth, character),
             wear2 = tooth_wear(mesh.second_teeth, character);
  const Path path(character, 3.0);
  std::vector<double> level, phase;
  for (int k = 0; k < 5; ++k) {
    level.push_back(character.scatter_db(-3.0 * k, 4.0));
    phase.push_back(two_pi * character.uniform());
  }
  const std::size_t steps = scene.turning.steps();
  const auto unsteady = wander(chance, steps, scene.turning.motion().step_s, 0.12, 0.2);
  for (std::size_t i = 0; i + 1 < steps; ++i) {
    const double slope = (mesh.cycles[i + 1] - mesh.cycles[i]) / samples_per_step,
                 hz = std::abs(slope) * sample_rate;
    std::vector<double> now(level);
    for (std::size_t k = 0; k < now.size(); ++k) now[k] *= path.gain(hz * static_cast<double>(k + 1));
    for (std::size_t s = 0; s < samples_per_step; ++s) {
      const double share = static_cast<double>(s) / samples_per_step;
      const double cycles = mesh.cycles[i] + slope * static_cast<double>(s),
                   turn = cycles - std::floor(cycles);
      const double depth = wear_at(wear1, std::lerp(mesh.first[i], mesh.first[i + 1], share)) *
                           (0.5 + 0.5 * wear_at(wear2, std::lerp(mesh.second[i], mesh.second[i + 1], share)));
      double sum = 0.0;
      for (std::size_t k = 0; k < now.size(); ++k)
        sum += now[k] * std::sin(two_pi * turn * static_cast<double>(k + 1) + phase[k]);
      sound.track[i * samples_per_step + s] = static_cast<float>((1.0 + unsteady[i]) * depth * sum);
    }
  }
  return sound;
}

// The smaller gear, which turns faster, breaks a tooth more often; either may.
FaultSound chipped_tooth(const Scene& scene, const Mesh& mesh) {
  Random character = scene.character("chipped " + mesh.part), chance = scene.chance("chipped " + mesh.part);
  const bool smaller = character.uniform() < 0.75, first_smaller = mesh.first_teeth <= mesh.second_teeth;
  const auto& angle = smaller == first_smaller ? mesh.first : mesh.second;
  return knocks(scene, angle, 1, 0.0, 1.5, draw_resonances(character, 3, 350.0, 4000.0), character, chance);
}

FaultSound gear_fault(const Scene& scene, const SoundFault& fault) {
  for (const Mesh& mesh : meshes(scene))
    if (mesh.part == fault.part)
      return fault.fault == Fault::worn_teeth ? worn_teeth(scene, mesh) : chipped_tooth(scene, mesh);
  return {scene.silence(), {}, {}};
}

int joint_order(const Scene& scene, std::string_view part) {
  for (const Joint& joint : scene.car.joints)
    if (joint.id == part)
      return joint.kind == JointKind::cardan ? 2 : joint.kind == JointKind::tripod ? 3 : 6;
  return 2;
}

// A worn joint beats at its order; a dry one ticks there.
FaultSound joint_fault(const Scene& scene, const SoundFault& fault, std::span<const double> angle) {
  Random character = scene.character("joint " + fault.part), chance = scene.chance("joint " + fault.part);
  const int order = joint_order(scene, fault.part);
  if (fault.fault == Fault::dry_joint)
    return knocks(scene, angle, order, 1.5, 2.5, draw_resonances(character, 2, 800.0, 5000.0), character,
                  chance);
  std::vector<double> levels(static_cast<std::size_t>(order) * 4, 0.0);
  for (std::size_t k = 1; k <= 4; ++k)
    levels[k * static_cast<std::size_t>(order) - 1] =
        character.scatter_db(-5.0 * static_cast<double>(k - 1), 2.0);
  levels[0] = 0.15;
  return {tones(scene, angle, levels, character), {}, {}};
}

FaultSound out_of_balance(const Scene& scene, std::span<const double> angle) {
  Random character = scene.character("balance");
  const double second = character.scatter_db(-11.0, 3.0), third = character.scatter_db(-17.0, 3.0);
  return {tones(scene, angle, {1.0, second, third, 0.5 * third}, character), {}, {}};
}

// Scalloped tread: lumps of unequal height round the tyre, which knock on the road.
FaultSound uneven_wear(const Scene& scene, const SoundFault& fault, std::span<const double> angle) {
  Random character = scene.character("wear " + fault.part), chance = scene.chance("wear " + fault.part);
  std::vector<Resonance> carcass;
  for (int i = 0; i < 3; ++i)
    carcass.push_back(
        {character.log_uniform(70.0, 400.0), character.uniform(0.08, 0.2), character.scatter_db(0.0, 3.0)});
  return knocks(scene, angle, character.integer(8, 20), 5.0, 1.0, carcass, character, chance);
}

// A belt-driven machine as a whole: once per turn, with overtones, and a knock.
FaultSound worn_machine(const Scene& scene, const SoundFault& fault, std::span<const double> angle) {
  Random character = scene.character("machine " + fault.part), chance = scene.chance("machine " + fault.part);
  return knocks(scene, angle, 1, 0.0, 1.5, draw_resonances(character, 3, 300.0, 3000.0), character, chance);
}

}  // namespace

FaultSound fault_sound(const Scene& scene, const SoundFault& fault) {
  if (const Bearing* bearing = scene.car.bearing(fault.part))
    return bearing_sound(scene, *bearing, fault, "fault " + fault.part);
  if (fault.fault == Fault::worn_teeth || fault.fault == Fault::chipped_tooth)
    return gear_fault(scene, fault);
  const Part* part = scene.car.part(fault.part);
  const auto angle = scene.turning.angle(part ? part->shaft : "");
  switch (fault.fault) {
    case Fault::worn_joint:
    case Fault::dry_joint:
      return joint_fault(scene, fault, angle);
    case Fault::uneven_wear:
      return uneven_wear(scene, fault, angle);
    case Fault::worn_machine:
      return worn_machine(scene, fault, angle);
    default:
      return out_of_balance(scene, angle);
  }
}

}  // namespace gearhark::synth
