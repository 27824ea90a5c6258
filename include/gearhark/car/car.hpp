// A car as its file describes it: what turns, what meshes, what carries it, what is known and how well.
//
//   car file (TOML) -> Car (general form) -> Driveline (shaft rates) -> predicted lines and fault families
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gearhark/units/quantity.hpp"
#include "gearhark/units/result.hpp"
#include "gearhark/units/text.hpp"

namespace gearhark {

// The lever's position as people name it: "3", "R", "N"; with an overdrive "4 overdrive"; with a transfer
// case "3 low".
struct Gear {
  std::string label = "N";
  [[nodiscard]] bool neutral() const { return base() == "N"; }
  // The lever alone: "4" for "4 overdrive".
  [[nodiscard]] std::string base() const { return label.substr(0, label.find(' ')); }
  auto operator<=>(const Gear&) const = default;
};

// Shafts of these IDs exist in every car: the engine's crankshaft ("engine") and the road wheels ("wheel_fl"
// ...).
struct Shaft {
  std::string id;
  std::string name;
};

// Two gears in constant mesh: driving_teeth w1 + driven_teeth w2 = 0 (internal gears: minus).
// Signs are kept, so an idler reverses.
struct GearPair {
  std::string id, name;
  std::string driving, driven;  // shaft IDs. A loose gear has a shaft of its own, "<id>/loose"
  int driving_teeth = 0, driven_teeth = 0;
  bool teeth_known = true;  // false: the teeth stand for a stated ratio only, and no mesh line is predicted
  bool internal = false;
  std::optional<Gear> selected_by;  // the gear that loads it; nothing: it carries load whenever it turns
                                    // (final drive, input pair)
  double relative_tolerance = 0.0;  // of the ratio: 0 when the teeth were counted
  bool sliding = false;             // slid into mesh: meshes in its own gear only
  [[nodiscard]] bool meshes_in(const Gear& gear) const {
    return !sliding || !selected_by || selected_by->base() == gear.base();
  }
};

// Willis: sun_teeth (w_sun - w_carrier) + ring_teeth (w_ring - w_carrier) = 0.
struct EpicyclicSet {
  std::string id, name;
  std::string sun, ring, carrier;  // shaft IDs; "" for a member that is held still
  int sun_teeth = 0, ring_teeth = 0;
  int planet_teeth = 0;  // 0: (ring - sun) / 2
  int planets = 3;
  bool teeth_known = true;  // false: the teeth stand for a stated ratio only
};

// Two shafts made to turn as one, always or only in some gears; `slips_with_clutch` is the engine clutch.
struct Coupling {
  std::string a, b;            // shaft IDs; b = "" holds a still
  std::vector<Gear> only_in;   // empty: in every gear
  bool engine_clutch = false;  // open while the pedal is down
};

// driven rate = driving rate x ratio, less creep.
struct Belt {
  std::string id, name;
  std::string driving, driven;  // shaft IDs; the machine's shaft has the machine's ID
  double ratio = 1.0;
  double creep_low = 0.0, creep_high = 0.02;
  int blades = 0;  // of a fan on the machine
  std::optional<double>
      passes_per_driving_turn;  // of the belt round its run: pi x pulley diameter / belt length
};

// The carrier turns at the mean of its two sides.
struct Differential {
  std::string id, name;
  std::string carrier, left, right;
};

enum class JointKind { cardan, six_ball, tripod };
struct Joint {
  std::string id, name;
  std::string shaft;
  JointKind kind = JointKind::cardan;
  std::optional<double> angle_degrees;  // at which it runs, when measured
};

enum class RollingElement { ball, angular_ball, cylindrical_roller, taper_roller, needle };
enum class TurningRing { inner, outer, both };

// What is known of a bearing. count and nothing else: the search widens; not even count: it is weak, and says
// so.
struct Bearing {
  std::string id, name;
  std::string shaft;        // turns with the inner ring (or, for TurningRing::outer, with the outer ring)
  std::string outer_shaft;  // TurningRing::both: what the outer ring turns with; `shaft` is the inner ring's
  TurningRing turning = TurningRing::inner;
  RollingElement element = RollingElement::ball;
  std::string designation;   // "6205": a note for people, unless the geometry table knows it
  std::optional<int> count;  // per row
  std::optional<Length> element_diameter, pitch_diameter;
  double contact_angle_degrees = 0.0;
  int rows = 1;
  double relative_tolerance = 0.0;  // of the geometry: 0 when measured, more when looked up by designation
  [[nodiscard]] bool geometry_known() const { return count && element_diameter && pitch_diameter; }
  // gamma = d/D cos(contact angle); only where geometry_known().
  [[nodiscard]] double gamma() const;
};

// What a part is, for the visibility table: which load, gear and turn make it louder.
enum class PartRole {
  input_bearing,
  layshaft_bearing,
  mainshaft_bearing,
  pilot_bearing,
  release_bearing,
  pinion_head_bearing,
  pinion_tail_bearing,
  carrier_bearing,
  wheel_bearing,
  machine_bearing,
  centre_bearing,
  other_bearing,
  gear_pair,
  constant_pair,
  ring_and_pinion,
  epicyclic,
  transfer_pair,
  joint,
  propshaft,
  tyre,
  machine,
  engine
};
enum class Corner { none, left, right };

struct Part {
  std::string id, name;
  PartRole role = PartRole::other_bearing;
  Corner side = Corner::none;
  std::string shaft;  // the shaft it turns with; "" for gear pairs
};

struct Tyre {
  std::string designation;  // "165R15", "185/70R14", "5.60-15", or "" when rolled out
  Length rolling_circumference;
  double relative_tolerance = 0.02;  // 1 standard deviation is about half of it
  std::optional<int> tread_pitches;  // pitches round the tyre when counted
};

struct Engine {
  int cylinders = 4;
  int strokes = 4;
  [[nodiscard]] Order firing_order() const {
    return Order(cylinders * 2.0 / strokes);
  }  // per crankshaft turn
};

// A clearance or dimension: what the book says for new and for worn out.
struct Dimension {
  std::string id, name, part;
  std::optional<WrittenLength> nominal_new, limit;
  std::string note;
};

struct Car {
  std::string name;
  std::string notes;
  Tyre tyre;  // of the driven axle
  Engine engine;
  std::vector<std::string> driven_wheels;  // "wheel_rl", ...: the mean of these is the road reference
  std::vector<Gear> gears;                 // every gear a run can be in, "N" among them
  std::vector<Shaft> shafts;
  std::vector<GearPair> pairs;
  std::vector<EpicyclicSet> epicyclics;
  std::vector<Coupling> couplings;
  std::vector<Belt> belts;
  std::vector<Differential> differentials;
  std::vector<Joint> joints;
  std::vector<Bearing> bearings;
  std::vector<Part> parts;  // every part that an answer may name, in the file's order
  std::vector<Dimension> dimensions;
  [[nodiscard]] const Part* part(std::string_view id) const;  // nullptr: no such part
  [[nodiscard]] const Bearing* bearing(std::string_view id) const;
  [[nodiscard]] const GearPair* pair(std::string_view id) const;
};

// The name people use for a part, or the ID where it has none.
std::string part_name(const Car& car, std::string_view id);
// For an ID the car lacks: one sentence with up to three IDs that are nearest, by their letters or by a word
// they hold. An error of usage.
Error no_such_part(const Car& car, std::string_view id);

// Parses and checks a car file and expands the short form of gearbox and axle to the general one. `file` is
// only named in messages. Errors: one sentence "FILE:LINE:COLUMN: found, expected, cure".
Result<Car> read_car(std::string_view toml_text, std::string_view file);
// The same from disk.
Result<Car> load_car(const std::string& path);

}  // namespace gearhark
