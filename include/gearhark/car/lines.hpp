// What each part should sound like: every line of every part, sound or not, and the families of lines each
// fault makes.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gearhark/car/driveline.hpp"

namespace gearhark {

enum class LineKind {
  firing,
  engine_half_order,
  shaft_turn,
  mesh,
  mesh_sideband,
  mesh_phase,
  hunting_tooth,
  planet_pass,
  outer_race,
  inner_race,
  rolling_element,
  cage,
  joint,
  belt,
  machine_turn,
  wheel_turn,
  tread
};

// One predicted line.
struct Line {
  std::string part;  // part ID
  LineKind kind = LineKind::shaft_turn;
  int harmonic = 1;              // of the fundamental
  int sideband = 0;              // +-k round harmonic
  std::string sideband_shaft;    // the shaft whose turn spaces the sidebands
  Rate rate;                     // magnitude not yet taken
  bool loaded = true;            // false: a gear pair that idles in this gear
  bool sounds_healthy = false;   // a healthy car makes it too (firing, mesh, wheel turn, tread)
  double low = 0.0, high = 0.0;  // relative tolerance: true rate in [rate (1+low), rate (1+high)]
};

// Every line in this state up to the harmonics the field usually looks at: firing and half orders to 12, mesh
// 1-4 with first sidebands at both shafts, shafts 1-3, joints 2x, bearings 1x, belts, tread.
std::vector<Line> predicted_lines(const Car& car, const DriveState& state, const ShaftRates& rates);

enum class Fault {
  outer_race,
  inner_race,
  rolling_element,
  cage,  // bearings
  worn_teeth,
  chipped_tooth,  // gears
  out_of_balance,
  worn_joint,
  dry_joint,    // shafts and joints
  uneven_wear,  // tyres
  worn_machine  // belt-driven machines as a whole
};
// "outer race", "worn teeth", ... The words of the diagnosis JSON.
std::string to_text(Fault fault);
// The same the other way round; nothing for an unknown word.
std::optional<Fault> fault_from_text(std::string_view word);

enum class Knowledge { exact, count_only, nothing };

// Rolling elements in a row where not even their count is known.
constexpr int fewest_elements = 6, most_elements = 24;

// The lines one fault of one part would make: harmonics of `base`, each with side lines at multiples of
// `modulation`.
//
// Bearings: a fault on a ring is heard once per element that passes it, louder each time the ring brings it
// into the loaded zone, which stands still: modulation is that ring's own rate (none for a ring that stands
// still). A rolling element strikes both rings, so its base is twice its spin, and its modulation the cage's
// rate. Cage: the cage's rate. Gears, worn_teeth: base is the mesh, one family with each gear's rate as
// modulation. chipped_tooth: base is the rate of the gear with the chipped tooth (of an epicyclic set: how
// often one tooth meets any gear). dry_joint, worn_joint: base is 2 x (cardan), 6 x (six-ball) or 3 x
// (tripod) the shaft; a dry one's modulation is the shaft's rate, since no two of its four cups are as dry.
struct Family {
  std::string part;
  Fault fault = Fault::outer_race;
  Rate base;                               // fundamental
  Rate modulation;                         // all zero: no side lines
  double slip_low = 0.0, slip_high = 0.0;  // relative range of the true fundamental about `base`
  double slip_fade = 0.0;                  // over this much before either end it gets rarer (Spread)
  Knowledge knowledge = Knowledge::exact;
  int elements = 0;  // bearings: rolling elements; gears: teeth of the gear at fault; 0: not known
  // What unknown sizes add to the range, before slip: true fundamental = base x [geometry_low,
  // geometry_high]. Count known: base takes the middle of the range of gamma that bearings of its kind have.
  // An element's base is ring_rate x (1/gamma - gamma), its modulation less by ring_rate/2 per unit of gamma.
  // Nothing known: a race's base is ring_rate.
  double geometry_low = 1.0, geometry_high = 1.0;
  Rate ring_rate;      // inner less outer ring, for all bearing families
  bool loaded = true;  // gears, and bearings of their shafts: carries the drive in this state
};

// Every fault of every part that turns in this state. Families whose base is zero (a pilot bearing in direct
// top) are left out.
std::vector<Family> fault_families(const Car& car, const DriveState& state, const ShaftRates& rates);

enum class Load { drive, floating, coast, neutral };
enum class Turn { straight, left, right };
// The words of road-test files, commands and JSON, in the order of the values.
inline constexpr std::array<std::string_view, 4> load_words{"drive", "float", "coast", "neutral"};
inline constexpr std::array<std::string_view, 3> turn_words{"straight", "left", "right"};
std::string to_text(Load load);
std::string to_text(Turn turn);

// How loud a fault of this part sounds in this state, relative to its loudest state (1); 0: not at all.
// One table, from trade practice (car/visibility.cpp gives the source of each row).
double visibility(const Car& car, const Family& family, const DriveState& state, Load load, Turn turn);

}  // namespace gearhark
