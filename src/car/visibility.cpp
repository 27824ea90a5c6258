#include <algorithm>
#include <array>
#include <string_view>

#include "gearhark/car/lines.hpp"

namespace gearhark {
namespace {

enum class Where { anywhere, at_wheel };

// How loud a fault sounds, 1 in the state in which it is loudest. The directions (which load, gear or turn
// makes a part louder) are trade practice, from the source named in each row; the numbers are judged, nobody
// has published any.
struct Row {
  PartRole role;
  Where where;
  double drive, floating, coast, neutral, pedal_down;
  double straight, loaded_side,
      other_side;  // in a bend the outer wheels carry more: a left turn loads the right side
  double idle;     // times this when the drive does not go through the part
  std::string_view source;
};

constexpr std::string_view service = "service literature (general)";
constexpr std::string_view practice = "common practice, no published source";

constexpr std::array rows{
    //  part                          where              drive float coast neut pedal  strt  load other idle
    Row{PartRole::input_bearing, Where::anywhere, 1.0, 0.5, 0.7, 0.3, 0.3, 1.0, 1.0, 1.0, 1.0, service},
    Row{PartRole::layshaft_bearing, Where::anywhere, 1.0, 0.5, 0.7, 0.25, 0.25, 1.0, 1.0, 1.0, 0.35, service},
    Row{PartRole::mainshaft_bearing, Where::anywhere, 1.0, 0.5, 0.7, 0.35, 0.35, 1.0, 1.0, 1.0, 1.0,
        practice},
    Row{PartRole::pilot_bearing, Where::anywhere, 1.0, 0.5, 0.7, 0.35, 0.35, 1.0, 1.0, 1.0, 1.0, practice},
    Row{PartRole::release_bearing, Where::anywhere, 0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 1.0, service},
    Row{PartRole::pinion_head_bearing, Where::anywhere, 1.0, 0.5, 0.5, 0.4, 0.4, 1.0, 1.0, 1.0, 1.0, service},
    Row{PartRole::pinion_tail_bearing, Where::anywhere, 0.5, 0.5, 1.0, 0.4, 0.4, 1.0, 1.0, 1.0, 1.0, service},
    Row{PartRole::carrier_bearing, Where::anywhere, 1.0, 0.7, 0.9, 0.6, 0.6, 1.0, 1.0, 1.0, 1.0, service},
    Row{PartRole::wheel_bearing, Where::anywhere, 1.0, 1.0, 1.0, 1.0, 1.0, 0.6, 1.0, 0.25, 1.0, service},
    Row{PartRole::machine_bearing, Where::anywhere, 0.9, 0.9, 0.9, 0.9, 0.9, 1.0, 1.0, 1.0, 1.0, practice},
    Row{PartRole::centre_bearing, Where::anywhere, 1.0, 0.9, 0.9, 0.8, 0.8, 1.0, 1.0, 1.0, 1.0, practice},
    Row{PartRole::other_bearing, Where::anywhere, 1.0, 0.8, 0.8, 0.8, 0.8, 1.0, 1.0, 1.0, 1.0, practice},
    Row{PartRole::gear_pair, Where::anywhere, 1.0, 0.4, 0.7, 0.3, 0.3, 1.0, 1.0, 1.0, 0.15, service},
    Row{PartRole::constant_pair, Where::anywhere, 1.0, 0.4, 0.7, 0.5, 0.5, 1.0, 1.0, 1.0, 0.35, service},
    Row{PartRole::ring_and_pinion, Where::anywhere, 1.0, 0.6, 0.8, 0.5, 0.5, 1.0, 1.0, 1.0, 0.5, service},
    Row{PartRole::epicyclic, Where::anywhere, 1.0, 0.4, 0.7, 0.3, 0.3, 1.0, 1.0, 1.0, 0.15, practice},
    Row{PartRole::transfer_pair, Where::anywhere, 1.0, 0.4, 0.7, 0.3, 0.3, 1.0, 1.0, 1.0, 0.35, practice},
    Row{PartRole::joint, Where::at_wheel, 1.0, 0.4, 0.6, 0.3, 0.3, 0.5, 1.0, 1.0, 1.0, service},
    Row{PartRole::joint, Where::anywhere, 1.0, 0.6, 0.8, 0.5, 0.5, 1.0, 1.0, 1.0, 1.0, service},
    Row{PartRole::propshaft, Where::anywhere, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, service},
    Row{PartRole::tyre, Where::anywhere, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, service},
    Row{PartRole::machine, Where::anywhere, 0.9, 0.9, 0.9, 0.9, 0.9, 1.0, 1.0, 1.0, 1.0, practice},
    Row{PartRole::engine, Where::anywhere, 1.0, 0.6, 0.5, 0.5, 0.5, 1.0, 1.0, 1.0, 1.0, practice},
};

const Row& row_for(const Part& part) {
  const auto at = std::find_if(rows.begin(), rows.end(), [&](const Row& row) {
    return row.role == part.role && (row.where == Where::anywhere || part.side != Corner::none);
  });
  return *at;
}

double by_load(const Row& row, const DriveState& state, Load load) {
  if (state.clutch == Clutch::pedal_down) return row.pedal_down;
  if (state.gear.neutral()) return row.neutral;
  switch (load) {
    case Load::drive:
      return row.drive;
    case Load::floating:
      return row.floating;
    case Load::coast:
      return row.coast;
    case Load::neutral:
      break;
  }
  return row.neutral;
}

double by_turn(const Row& row, Corner side, Turn turn) {
  if (turn == Turn::straight || side == Corner::none) return row.straight;
  return (turn == Turn::left) == (side == Corner::right) ? row.loaded_side : row.other_side;
}

}  // namespace

double visibility(const Car& car, const Family& family, const DriveState& state, Load load, Turn turn) {
  const Part* part = car.part(family.part);
  if (!part) return 0.0;
  const Row& row = row_for(*part);
  return by_load(row, state, load) * by_turn(row, part->side, turn) * (family.loaded ? 1.0 : row.idle);
}

}  // namespace gearhark
