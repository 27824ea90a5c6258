// How loud a sound is in this load, gear and turn. Common practice of the trade, no published source for the
// decibels; kept apart from the diagnosis's own table on purpose.
#include <algorithm>
#include <array>

#include "scene.hpp"

namespace gearhark::synth {

namespace {

// dB under the loudest state.
struct LoadRow {
  PartRole role;
  double drive, floating, coast, neutral;
};
constexpr std::array<LoadRow, 21> load_rows{{
    {PartRole::input_bearing, 0, -2.5, -3, -8},
    {PartRole::layshaft_bearing, 0, -3, -3.5, -9},
    {PartRole::mainshaft_bearing, 0, -2.5, -3, -7},
    {PartRole::pilot_bearing, 0, 0, 0, 0},
    {PartRole::release_bearing, 0, 0, 0, 0},
    {PartRole::pinion_head_bearing, 0, -4.5, -6, -7},
    {PartRole::pinion_tail_bearing, -6, -4.5, 0, -7},
    {PartRole::carrier_bearing, 0, -1.5, -1, -3.5},
    {PartRole::wheel_bearing, 0, 0, 0, -0.5},
    {PartRole::machine_bearing, 0, 0, 0, 0},
    {PartRole::centre_bearing, 0, -1, -1, -1},
    {PartRole::other_bearing, 0, -3, -3, -6},
    {PartRole::gear_pair, 0, -8, -4, -30},
    {PartRole::constant_pair, 0, -6, -4, -13},
    {PartRole::ring_and_pinion, 0, -7, -5, -13},
    {PartRole::epicyclic, 0, -7, -4, -15},
    {PartRole::transfer_pair, 0, -7, -4, -13},
    {PartRole::joint, 0, -6, -4, -16},
    {PartRole::propshaft, 0, 0, 0, 0},
    {PartRole::tyre, 0, 0, 0, 0},
    {PartRole::machine, 0, 0, 0, 0},
}};

double load_db(PartRole role, Load load) {
  const auto row = std::ranges::find(load_rows, role, &LoadRow::role);
  if (row == load_rows.end()) return 0.0;
  switch (load) {
    case Load::drive:
      return row->drive;
    case Load::floating:
      return row->floating;
    case Load::coast:
      return row->coast;
    case Load::neutral:
      return row->neutral;
  }
  return 0.0;
}

// A left bend loads the right side.
double turn_db(const Part& part, Turn turn) {
  const bool feels_turns = part.role == PartRole::wheel_bearing || part.role == PartRole::carrier_bearing;
  if (!feels_turns || part.side == Corner::none) return 0.0;
  const double much = part.role == PartRole::wheel_bearing ? 1.0 : 0.3;
  if (turn == Turn::straight) return -4.0 * much;
  return (turn == Turn::left) == (part.side == Corner::right) ? 0.0 : -11.0 * much;
}

// What does not carry the drive idles: another gear's pair, the layshaft in direct top, a gear's needle
// bearing.
double idling_db(const Scene& scene, const Part& part) {
  const SoundRun& run = scene.settings.run;
  if (part.role == PartRole::release_bearing && run.clutch == Clutch::engaged) return -12.0;
  if (run.gear.neutral()) return 0.0;  // in the table already
  const auto loaded = loaded_gears(scene.car, {run.gear, run.clutch});
  if (part.role == PartRole::gear_pair && !loaded.contains(part.id)) return -22.0;
  const bool in_box = part.role == PartRole::constant_pair || part.role == PartRole::epicyclic ||
                      part.role == PartRole::transfer_pair;
  if (in_box && !loaded.contains(part.id)) return -10.0;
  const bool box_idles = std::ranges::none_of(
      scene.car.pairs, [&](const GearPair& pair) { return pair.selected_by && loaded.contains(pair.id); });
  if (part.role == PartRole::layshaft_bearing && box_idles) return -10.0;
  return 0.0;
}

// Wear sits on one flank or both: on the coast flank, drive and coast change places.
Load felt_load(const Scene& scene, const Part& part, bool gear_fault) {
  const Load load = scene.settings.run.load;
  Random character = scene.character("flank " + part.id);
  const bool coast_flank = character.uniform() < 0.25;
  if (!gear_fault || !coast_flank) return load;
  return load == Load::drive ? Load::coast : load == Load::coast ? Load::drive : load;
}

// Cars differ from the rule by a few decibels, the same way in every run.
double scatter_db(const Scene& scene, const std::string& part, Load load) {
  Random character = scene.character("scatter " + part + std::to_string(static_cast<int>(load)));
  return character.gaussian(0.0, 1.2);
}

}  // namespace

double state_gain(const Scene& scene, std::string_view id, Fault fault) {
  const Part* part = scene.car.part(id);
  if (!part) return 1.0;
  const bool gear_fault = fault == Fault::worn_teeth || fault == Fault::chipped_tooth;
  const Load load = felt_load(scene, *part, gear_fault);
  const double rule_db =
      load_db(part->role, load) + turn_db(*part, scene.settings.run.turn) + idling_db(scene, *part);
  // The loudest state is 0 dB by definition; the scatter only moves the others.
  return amplitude(rule_db < 0.0 ? std::min(rule_db + scatter_db(scene, part->id, load), 0.0) : 0.0);
}

double mesh_gain(const Scene& scene, const Mesh& mesh) {
  const Part* part = scene.car.part(mesh.part);
  if (!part) return 1.0;
  const double rule_db = load_db(part->role, scene.settings.run.load) + idling_db(scene, *part);
  return amplitude(rule_db + scatter_db(scene, part->id, scene.settings.run.load));
}

}  // namespace gearhark::synth
