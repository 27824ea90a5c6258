#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <map>
#include <numbers>
#include <set>

#include "file_table.hpp"
#include "gearhark/car/driveline.hpp"
#include "gearhark/car/tyre.hpp"
#include "relations.hpp"

namespace gearhark {
namespace {

using car_file::listed;
using car_file::Mistake;
using car_file::nearest;
using car_file::placed;
using car_file::Table;
using Keys = std::vector<std::string_view>;

constexpr int fewest_teeth = 5, most_teeth = 300;
constexpr int ratio_stand_in = 10000;  // teeth of the driving gear when only the ratio is known

// ---- what the words of the file mean ----

template <class T>
struct Word {
  std::string_view word;
  T meaning;
};
template <class T, std::size_t N>
Keys words_of(const std::array<Word<T>, N>& table) {
  Keys out;
  for (const auto& entry : table) out.push_back(entry.word);
  return out;
}

constexpr std::array places{
    Word<PartRole>{"input", PartRole::input_bearing},
    Word<PartRole>{"layshaft", PartRole::layshaft_bearing},
    Word<PartRole>{"mainshaft", PartRole::mainshaft_bearing},
    Word<PartRole>{"pilot", PartRole::pilot_bearing},
    Word<PartRole>{"release", PartRole::release_bearing},
    Word<PartRole>{"pinion head", PartRole::pinion_head_bearing},
    Word<PartRole>{"pinion tail", PartRole::pinion_tail_bearing},
    Word<PartRole>{"differential", PartRole::carrier_bearing},
    Word<PartRole>{"wheel", PartRole::wheel_bearing},
    Word<PartRole>{"machine", PartRole::machine_bearing},
    Word<PartRole>{"propshaft", PartRole::centre_bearing},
    Word<PartRole>{"other", PartRole::other_bearing},
};
constexpr std::array elements{
    Word<RollingElement>{"ball", RollingElement::ball},
    Word<RollingElement>{"angular ball", RollingElement::angular_ball},
    Word<RollingElement>{"roller", RollingElement::cylindrical_roller},
    Word<RollingElement>{"taper", RollingElement::taper_roller},
    Word<RollingElement>{"needle", RollingElement::needle},
};
constexpr std::array turning_rings{Word<TurningRing>{"inner", TurningRing::inner},
                                   Word<TurningRing>{"outer", TurningRing::outer},
                                   Word<TurningRing>{"both", TurningRing::both}};
constexpr std::array joint_kinds{Word<JointKind>{"cardan", JointKind::cardan},
                                 Word<JointKind>{"six-ball", JointKind::six_ball},
                                 Word<JointKind>{"tripod", JointKind::tripod}};

struct Wheel {
  std::string_view id, name, tyre, tyre_name;
  Corner side;
};
constexpr std::array wheels{
    Wheel{"wheel_fl", "front left wheel", "tyre_fl", "front left tyre", Corner::left},
    Wheel{"wheel_fr", "front right wheel", "tyre_fr", "front right tyre", Corner::right},
    Wheel{"wheel_rl", "rear left wheel", "tyre_rl", "rear left tyre", Corner::left},
    Wheel{"wheel_rr", "rear right wheel", "tyre_rr", "rear right tyre", Corner::right},
};

// Published geometry of two deep-groove sizes (Case Western Reserve University Bearing Data Center,
// multipliers and sizes of its 6205 and 6203). Makers differ by up to 0.35 % of a race line for one
// designation.
struct KnownBearing {
  std::string_view designation;
  int count;
  double element_inch, pitch_inch;
};
constexpr std::array known_bearings{KnownBearing{"6205", 9, 0.3126, 1.537},
                                    KnownBearing{"6203", 8, 0.2656, 1.122}};
constexpr double makers_differ = 0.005;

std::string spoken(std::string_view id) {
  std::string out(id);
  std::replace(out.begin(), out.end(), '_', ' ');
  return out;
}

struct Teeth {
  int driving = 0, driven = 0;
  bool known = true;
  double tolerance = 0.0;
};

// ---- the reader: one method per table of the file, in the order in which they need each other ----

class Reader {
 public:
  Reader(const toml::table& root, std::string_view file)
      : file_(file),
        top_(root, file, "the car file",
             {"name",      "notes",         "driven",      "gears",     "engine",    "tyre",        "gearbox",
              "overdrive", "transfer_case", "final_drive", "machine",   "propshaft", "joint",       "bearing",
              "clearance", "shaft",         "gear_pair",   "epicyclic", "coupling",  "differential"}) {}

  Car read() {
    identity();
    engine();
    tyre();
    gear_labels();
    extra_shafts();
    gearbox();
    overdrive();
    transfer_case();
    final_drives();
    machines();
    general_pairs();
    epicyclics();
    couplings();
    differentials();
    propshafts();
    joints();
    bearings();
    clearances();
    check_kinematics();
    return std::move(car_);
  }

 private:
  // -- small tools --

  void add_shaft(const Table& from, const std::string& id, const std::string& name) {
    if (has_shaft(id))
      from.fail(from.place(),
                fmt::format("the shaft \"{}\" is there twice; give one of them another ID", id));
    car_.shafts.push_back({id, name});
    shaft_places_.emplace(id, from.place());
  }
  [[nodiscard]] bool has_shaft(std::string_view id) const {
    return std::any_of(car_.shafts.begin(), car_.shafts.end(), [&](const Shaft& s) { return s.id == id; });
  }
  [[nodiscard]] Keys shaft_ids() const {
    Keys out;
    for (const auto& s : car_.shafts) out.push_back(s.id);
    return out;
  }
  std::string need_shaft(const Table& from, std::string_view key) const {
    const std::string id = from.need_text(key);
    if (has_shaft(id)) return id;
    const std::string near = nearest(id, shaft_ids());
    from.fail(key, fmt::format("{} names the shaft \"{}\", which this car does not have; {}", from.what(), id,
                               near.empty() ? "its shafts are " + listed(shaft_ids())
                                            : fmt::format("did you mean \"{}\"?", near)));
  }
  std::string shaft_or(const Table& from, std::string_view key, const std::string& otherwise) const {
    return from.has(key) ? need_shaft(from, key) : otherwise;
  }

  // The table's ID and name; an ID that is used already is a mistake.
  struct Named {
    std::string id, name;
  };
  Named named(const Table& from, const std::string& default_id = "", const std::string& default_name = "") {
    Named out;
    out.id = default_id.empty() || from.has("id") ? from.need_text("id") : default_id;
    for (const char c : out.id)
      if (!std::isalnum(static_cast<unsigned char>(c)) && c != '_' && c != '-')
        from.fail(
            "id",
            fmt::format(
                "the ID \"{}\" may hold letters, digits, _ and - only; put the name people use in \"name\"",
                out.id));
    const auto [at, is_new] = id_places_.emplace(out.id, from.place());
    if (!is_new)
      from.fail(from.place(),
                fmt::format("the ID \"{}\" is used twice, here and in line {}; give one of them another ID",
                            out.id, at->second.line));
    out.name = from.text("name").value_or(default_name.empty() ? spoken(out.id) : default_name);
    return out;
  }
  void add_part(const Named& n, PartRole role, const std::string& shaft = "", Corner side = Corner::none) {
    car_.parts.push_back({n.id, n.name, role, side, shaft});
  }

  static int teeth_count(const Table& from, std::string_view key) {
    const auto value = from.whole(key, 0, 100000);
    if (value && (*value < fewest_teeth || *value > most_teeth))
      from.fail(key, fmt::format("\"{}\" of {} is {} teeth; expected {} to {}: count them again", key,
                                 from.what(), *value, fewest_teeth, most_teeth));
    if (!value)
      from.fail(
          from.place(),
          fmt::format("{} has no \"{}\"; add the number of teeth, or give \"ratio\" instead of both counts",
                      from.what(), key));
    return *value;
  }
  // Counted teeth, or a stated ratio with its rounding (or the tolerance given).
  static Teeth teeth(const Table& from, std::string_view driving, std::string_view driven) {
    const auto ratio = from.ratio("ratio");
    if (!ratio) return {teeth_count(from, driving), teeth_count(from, driven), true, 0.0};
    if (from.has(driving) || from.has(driven))
      from.fail("ratio",
                fmt::format("{} has both teeth and a ratio; keep the teeth, they are exact", from.what()));
    const double tolerance = from.share("tolerance").value_or(ratio->relative_tolerance);
    return {ratio_stand_in, static_cast<int>(std::lround(ratio_stand_in * ratio->value)), false, tolerance};
  }

  void check_gear(const Table& from, std::string_view key, const std::string& label) const {
    Keys labels;
    for (const auto& g : car_.gears) labels.push_back(g.label);
    if (std::find(labels.begin(), labels.end(), label) == labels.end())
      from.fail(key, fmt::format("{} names the gear \"{}\", which this car does not have; its gears are {}",
                                 from.what(), label, listed(labels)));
  }
  std::vector<Gear> need_gears(const Table& from, std::string_view key) const {
    std::vector<Gear> out;
    for (const auto& label : from.gears(key)) {
      check_gear(from, key, label);
      out.push_back({label});
    }
    return out;
  }
  // Every gear whose lever position is `base`, with or without overdrive or low range.
  [[nodiscard]] std::vector<Gear> gears_based_on(const std::string& base) const {
    std::vector<Gear> out;
    for (const auto& g : car_.gears)
      if (g.base() == base) out.push_back(g);
    return out;
  }
  [[nodiscard]] std::vector<Gear> gears_with(std::string_view word, bool with) const {
    std::vector<Gear> out;
    for (const auto& g : car_.gears)
      if ((g.label.find(fmt::format(" {}", word)) != std::string::npos) == with) out.push_back(g);
    return out;
  }
  void couple(const Table& from, const std::string& a, const std::string& b, std::vector<Gear> only_in = {},
              bool clutch = false) {
    car_.couplings.push_back({a, b, std::move(only_in), clutch});
    id_places_.emplace(coupling_id(car_.couplings.back()), from.place());
  }

  // A gear pair of which one gear turns loose on its shaft until `engaged_in` couples it.
  void loose_pair(const Table& from, GearPair pair, const std::string& loose_side,
                  const std::vector<Gear>& engaged_in) {
    std::string& end = loose_side == "driving" ? pair.driving : pair.driven;
    const std::string loose = pair.id + "/loose";
    add_shaft(from, loose, "loose gear of the " + pair.name);
    couple(from, loose, end, engaged_in);
    end = loose;
    car_.pairs.push_back(std::move(pair));
  }

  // -- the tables --

  void identity() {
    car_.name = top_.need_text("name");
    car_.notes = top_.text("notes").value_or("");
    static const Keys driven{"front", "rear", "all"};
    if (!top_.has("driven"))
      top_.fail(top_.place(), "the car file has no \"driven\"; add driven = \"front\", \"rear\" or \"all\"");
    driven_ = driven[top_.word("driven", driven, 0)];
    for (const auto& wheel : wheels) {
      add_shaft(top_, std::string(wheel.id), std::string(wheel.name));
      const bool front = wheel.id.find("_f") != std::string_view::npos;
      if (driven_ == "all" || (driven_ == "front") == front) car_.driven_wheels.emplace_back(wheel.id);
    }
  }

  void engine() {
    add_shaft(top_, "engine", "crankshaft");
    const auto t = top_.table("engine", "[engine]", {"cylinders", "strokes", "notes"});
    if (!t)
      top_.fail(top_.place(),
                "the car file has no [engine]; add it with cylinders = 4, or however many there are");
    car_.engine.cylinders = t->need_whole("cylinders", 1, 16);
    car_.engine.strokes = t->whole("strokes", 2, 4).value_or(4);
    if (car_.engine.strokes == 3) t->fail("strokes", "\"strokes\" of [engine] is 3; expected 2 or 4");
    car_.parts.push_back({"engine", "engine", PartRole::engine, Corner::none, "engine"});
    id_places_.emplace("engine", t->place());
  }

  void tyre() {
    const auto t =
        top_.table("tyre", "[tyre]", {"size", "roll_out", "turns", "tolerance", "tread_pitches", "notes"});
    if (!t)
      top_.fail(top_.place(),
                "the car file has no [tyre]; add it with size = \"165R15\" or roll_out = \"1.93 m\"");
    car_.tyre.designation = t->text("size").value_or("");
    if (t->has("roll_out"))
      roll_out(*t);
    else
      tyre_by_size(*t);
    car_.tyre.relative_tolerance = t->share("tolerance").value_or(car_.tyre.relative_tolerance);
    car_.tyre.tread_pitches = t->whole("tread_pitches", 10, 400);
    for (const auto& wheel : wheels) {
      car_.parts.push_back({std::string(wheel.tyre), std::string(wheel.tyre_name), PartRole::tyre, wheel.side,
                            std::string(wheel.id)});
      id_places_.emplace(wheel.tyre, t->place());
    }
  }
  void roll_out(const Table& t) {
    const double turns = t.whole("turns", 1, 100).value_or(1);
    const double length = t.length("roll_out")->value.value() / turns;
    if (length < 0.8 || length > 4.5)
      t.fail("roll_out",
             fmt::format(
                 "one turn of the tyre would be {:.2f} m; expected 0.8 to 4.5 m: check roll_out and turns",
                 length));
    car_.tyre.rolling_circumference = Length(length);
    car_.tyre.relative_tolerance =
        0.005;  // a chalk mark on level ground: common practice, no published source
  }
  void tyre_by_size(const Table& t) {
    const auto size = parse_tyre_size(t.need_text("size"));
    if (!size) t.fail("size", size.error().sentence);
    car_.tyre.rolling_circumference = size->rolling_circumference;
    car_.tyre.relative_tolerance = size->relative_tolerance;
  }

  static inline const Keys gear_keys{"gear",      "id",    "name",  "driving", "driven", "ratio",
                                     "tolerance", "loose", "idler", "sliding", "notes"};
  static inline const Keys gearbox_keys{"kind", "input", "direct", "gear", "notes"};
  static inline const Keys overdrive_keys{"id",     "name",    "gears", "sun",       "ring",
                                          "planet", "planets", "ratio", "tolerance", "notes"};
  static inline const Keys transfer_keys{"input", "high", "low", "front_drive", "centre_differential",
                                         "notes"};

  // Every lever position ("N" first, then numbers, then letters), then those with overdrive, then the low
  // range.
  void gear_labels() {
    std::vector<std::string> base{"N"};
    if (const auto box = top_.table("gearbox", "[gearbox]", gearbox_keys)) gearbox_labels(*box, base);
    for (const auto& label : top_.gears("gears"))
      if (!contains(base, label)) base.push_back(label);
    std::stable_sort(base.begin() + 1, base.end(), [](const std::string& a, const std::string& b) {
      const bool digit_a = starts_with_digit(a), digit_b = starts_with_digit(b);
      return digit_a != digit_b ? digit_a : digit_a && a < b;
    });
    for (const auto& label : base) car_.gears.push_back({label});
    if (const auto od = top_.table("overdrive", "[overdrive]", overdrive_keys))
      for (const auto& gear : need_gears(*od, "gears")) car_.gears.push_back({gear.label + " overdrive"});
    const auto transfer = top_.table("transfer_case", "[transfer_case]", transfer_keys);
    if (!transfer || !transfer->has("low")) return;
    for (const auto& label : base)
      if (label != "N") car_.gears.push_back({label + " low"});
  }
  static bool contains(const std::vector<std::string>& labels, const std::string& label) {
    return std::find(labels.begin(), labels.end(), label) != labels.end();
  }
  static bool starts_with_digit(const std::string& text) {
    return !text.empty() && std::isdigit(static_cast<unsigned char>(text[0]));
  }
  static void gearbox_labels(const Table& box, std::vector<std::string>& base) {
    for (const auto& g : box.tables("gear", "[[gearbox.gear]]", gear_keys)) {
      const auto label = g.gear("gear");
      if (!label) g.fail(g.place(), "[[gearbox.gear]] has no \"gear\"; add gear = 3, or whichever it is");
      if (*label == "N" || label->find(' ') != std::string::npos)
        g.fail("gear", fmt::format("\"{}\" can't be the gear of a pair; write it like 3 or \"R\"", *label));
      if (contains(base, *label))
        g.fail("gear", fmt::format("gear {} is there twice; each gear has one pair", *label));
      base.push_back(*label);
    }
    const auto direct = box.gear("direct");
    if (direct && contains(base, *direct))
      box.fail("direct",
               fmt::format("gear {} has a gear pair or is neutral; it can't be direct as well", *direct));
    if (direct) base.push_back(*direct);
  }

  void extra_shafts() {
    for (const auto& t : top_.tables("shaft", "[[shaft]]", {"id", "name", "notes"})) {
      const std::string id = t.need_text("id");
      add_shaft(t, id, t.text("name").value_or(spoken(id)));
    }
  }

  void gearbox() {
    const auto box = top_.table("gearbox", "[gearbox]", gearbox_keys);
    if (!box) return;
    static const Keys kinds{"two-shaft", "three-shaft"};
    if (!box->has("kind"))
      box->fail(box->place(), "[gearbox] has no \"kind\"; add kind = \"two-shaft\" or \"three-shaft\"");
    const bool three = box->word("kind", kinds, 0) == 1;
    add_shaft(*box, "input", "gearbox input shaft");
    couple(*box, "engine", "input", {}, true);
    if (three)
      three_shaft(*box);
    else
      two_shaft(*box);
  }

  void two_shaft(const Table& box) {
    if (box.has("input") || box.has("direct"))
      box.fail(box.has("input") ? "input" : "direct",
               "a two-shaft gearbox has no input pair and no direct gear; set kind = \"three-shaft\"");
    output_ = top_.has("transfer_case") ? "output" : "pinion";
    add_shaft(box, output_, "gearbox output shaft");
    for (const auto& g : box.tables("gear", "[[gearbox.gear]]", gear_keys))
      gearbox_gear(g, "input", teeth(g, "driving", "driven"));
  }

  void three_shaft(const Table& box) {
    output_ = "mainshaft";
    add_shaft(box, "mainshaft", "gearbox mainshaft");
    const auto in = box.table("input", "[gearbox.input]",
                              {"id", "name", "driving", "driven", "ratio", "tolerance", "notes"});
    Teeth input;
    if (in) {
      add_shaft(*in, "layshaft", "layshaft");
      input = teeth(*in, "driving", "driven");
      const Named n = named(*in, "input_pair", "input pair");
      add_part(n, PartRole::constant_pair);
      car_.pairs.push_back({.id = n.id,
                            .name = n.name,
                            .driving = "input",
                            .driven = "layshaft",
                            .driving_teeth = input.driving,
                            .driven_teeth = input.driven,
                            .teeth_known = input.known,
                            .selected_by = std::nullopt,
                            .relative_tolerance = input.tolerance});
    }
    for (const auto& g : box.tables("gear", "[[gearbox.gear]]", gear_keys))
      three_shaft_gear(g, in ? &input : nullptr);
    if (const auto direct = box.gear("direct")) couple(box, "input", "mainshaft", gears_based_on(*direct));
  }

  // A stated ratio of a three-shaft box is that of the whole gear. With the input pair counted, its own pair
  // follows; otherwise the gear stands as one step from the input shaft, so that the input pair's doubt does
  // not enter it.
  void three_shaft_gear(const Table& g, const Teeth* input) {
    Teeth own = teeth(g, "driving", "driven");
    if (own.known && !input)
      g.fail(g.place(),
             "this gear is given by its teeth, so the input pair is needed too; add [gearbox.input], or give "
             "the gear by its ratio");
    if (own.known || !input || !input->known) return gearbox_gear(g, own.known ? "layshaft" : "input", own);
    own.driving *= input->driven;
    own.driven *= input->driving;
    gearbox_gear(g, "layshaft", own);
  }

  void gearbox_gear(const Table& g, const std::string& driving_shaft, const Teeth& t) {
    const std::string label = *g.gear("gear");
    const Named n = named(g, "gear_pair_" + label, fmt::format("gear pair of gear {}", label));
    add_part(n, PartRole::gear_pair);
    static const Keys sides{"driven", "driving"};
    const std::string loose(sides[g.word("loose", sides, 0)]);
    GearPair pair{.id = n.id,
                  .name = n.name,
                  .driving = driving_shaft,
                  .driven = output_,
                  .driving_teeth = t.driving,
                  .driven_teeth = t.driven,
                  .teeth_known = t.known,
                  .selected_by = Gear{label},
                  .relative_tolerance = t.tolerance,
                  .sliding = g.yes("sliding")};
    if (g.has("idler")) through_idler(g, pair);
    if (pair.sliding)
      car_.pairs.push_back(pair);
    else
      loose_pair(g, pair, g.has("idler") ? "driven" : loose, gears_based_on(label));
  }

  // The pair becomes driving gear to idler (a pair of its own, "<id>/idler") and idler to driven gear.
  void through_idler(const Table& g, GearPair& pair) {
    const int idler_teeth = teeth_count(g, "idler");
    if (!pair.teeth_known)
      g.fail("idler",
             "an idler needs the teeth of both gears too; give driving and driven instead of ratio, or leave "
             "the idler out");
    const std::string idler = pair.id + "/idler";
    add_shaft(g, idler, "idler of the " + pair.name);
    GearPair first = pair;
    first.id = idler;
    first.name = "idler of the " + pair.name;
    first.driven = idler;
    first.driven_teeth = idler_teeth;
    car_.pairs.push_back(first);
    car_.parts.push_back({first.id, first.name, PartRole::gear_pair, Corner::none, ""});
    pair.driving = idler;
    pair.driving_teeth = idler_teeth;
  }

  // Carrier on the mainshaft, ring on the output; engaged: sun held; off: sun locked to the carrier.
  void overdrive() {
    const auto t = top_.table("overdrive", "[overdrive]", overdrive_keys);
    if (!t) return;
    if (output_ != "mainshaft" || top_.has("transfer_case"))
      t->fail(t->place(),
              "[overdrive] goes behind a three-shaft gearbox without a transfer case; write other layouts "
              "with [[epicyclic]] and [[coupling]]");
    if (t->gears("gears").empty())
      t->fail(t->place(), "[overdrive] has no \"gears\"; add gears = [3, 4], or those it works in");
    const Named n = named(*t, "overdrive", "overdrive");
    add_part(n, PartRole::epicyclic);
    EpicyclicSet set = epicyclic_teeth(*t, true);
    set.id = n.id;
    set.name = n.name;
    set.carrier = "mainshaft";
    set.sun = "overdrive_sun";
    set.ring = "overdrive_output";
    add_shaft(*t, set.sun, "overdrive sun");
    add_shaft(*t, set.ring, "overdrive output");
    couple(*t, set.sun, "", gears_with("overdrive", true));
    couple(*t, set.sun, set.carrier, gears_with("overdrive", false));
    car_.epicyclics.push_back(set);
    output_ = set.ring;
  }

  EpicyclicSet epicyclic_teeth(const Table& t, bool ratio_allowed) const {
    EpicyclicSet set;
    set.planets = t.whole("planets", 1, 12).value_or(3);
    if (const auto ratio = ratio_allowed ? t.ratio("ratio") : std::nullopt) {
      if (ratio->value >= 1.0 || ratio->value <= 0.5)
        t.fail("ratio",
               "\"ratio\" of [overdrive] is mainshaft turns per output turn; expected between 0.5 and 1, "
               "such as \"0.78\"");
      set.teeth_known = false;
      set.ring_teeth = ratio_stand_in;
      set.sun_teeth = static_cast<int>(std::lround(ratio_stand_in * (1.0 / ratio->value - 1.0)));
      return set;
    }
    set.sun_teeth = teeth_count(t, "sun");
    set.ring_teeth = teeth_count(t, "ring");
    if (t.has("planet")) set.planet_teeth = teeth_count(t, "planet");
    if (set.sun_teeth >= set.ring_teeth)
      t.fail(
          "sun",
          fmt::format("the sun of {} has {} teeth and the ring {}; the ring goes round the sun and has more",
                      t.what(), set.sun_teeth, set.ring_teeth));
    if ((set.sun_teeth + set.ring_teeth) % set.planets != 0)
      t.fail("sun", fmt::format("{} planets can't sit evenly between a sun of {} and a ring of {} teeth; the "
                                "sum of teeth must divide by the planets: count again",
                                set.planets, set.sun_teeth, set.ring_teeth));
    return set;
  }

  struct Step {
    std::string_view key, id, driving, driven;
  };
  void transfer_pair(const Table& t, const Step& step, const std::vector<Gear>& engaged_in) {
    const auto p = t.table(step.key, fmt::format("\"{}\" of [transfer_case]", step.key),
                           {"id", "name", "driving", "driven", "ratio", "tolerance", "notes"});
    const Named n = named(*p, std::string(step.id));
    add_part(n, PartRole::transfer_pair);
    const Teeth count = teeth(*p, "driving", "driven");
    GearPair pair{.id = n.id,
                  .name = n.name,
                  .driving = std::string(step.driving),
                  .driven = std::string(step.driven),
                  .driving_teeth = count.driving,
                  .driven_teeth = count.driven,
                  .teeth_known = count.known,
                  .selected_by = std::nullopt,
                  .relative_tolerance = count.tolerance};
    if (engaged_in.empty())
      car_.pairs.push_back(pair);
    else
      loose_pair(*p, pair, "driven", engaged_in);
  }

  void transfer_case() {
    const auto t = top_.table("transfer_case", "[transfer_case]", transfer_keys);
    if (!t) return;
    if (driven_ != "all") top_.fail("driven", "a transfer case drives both axles; set driven = \"all\"");
    if (output_.empty())
      t->fail(t->place(),
              "[transfer_case] sits behind a [gearbox]; add one, or write it with [[gear_pair]] and "
              "[[coupling]]");
    add_shaft(*t, "transfer_output", "transfer case output");
    const auto high = gears_with("low", false), low = gears_with("low", true);
    if (t->has("input")) {
      add_shaft(*t, "intermediate", "transfer case intermediate shaft");
      transfer_pair(*t, {"input", "transfer_input_pair", output_, "intermediate"}, {});
    }
    if ((t->has("high") || t->has("low")) && !t->has("input"))
      t->fail(t->place(),
              "the high and low pairs of [transfer_case] run from its intermediate shaft; add \"input\", the "
              "pair that drives it");
    if (t->has("high"))
      transfer_pair(*t, {"high", "transfer_high_pair", "intermediate", "transfer_output"}, high);
    else
      couple(*t, output_, "transfer_output", high);
    if (t->has("low"))
      transfer_pair(*t, {"low", "transfer_low_pair", "intermediate", "transfer_output"}, low);
    for (const auto* axle : {"front", "rear"})
      add_shaft(*t, fmt::format("propshaft_{}", axle), fmt::format("{} propshaft", axle));
    front_drive(*t, low);
  }
  void front_drive(const Table& t, const std::vector<Gear>& low) {
    static const Keys when{"always", "in low"};
    const bool always = t.word("front_drive", when, 0) == 0;
    if (t.yes("centre_differential")) {
      if (!always)
        t.fail("front_drive",
               "with a centre differential the front axle is driven always; take front_drive out");
      car_.differentials.push_back({"centre_differential", "centre differential", "transfer_output",
                                    "propshaft_front", "propshaft_rear"});
      return;
    }
    if (!always && low.empty())
      t.fail("front_drive",
             "\"front_drive\" is \"in low\", but there is no low pair; add \"low\" or set front_drive = "
             "\"always\"");
    couple(t, "transfer_output", "propshaft_rear");
    couple(t, "transfer_output", "propshaft_front", always ? std::vector<Gear>{} : low);
  }

  void final_drives() {
    const auto drives = top_.tables("final_drive", "[final_drive]",
                                    {"axle", "id", "name", "pinion", "ring", "ratio", "tolerance", "notes"});
    if (drives.empty() && !output_.empty())
      top_.fail(top_.place(),
                "the car file has no [final_drive]; add it with pinion and ring teeth, or with its ratio");
    if (driven_ == "all" && drives.size() == 1 && !output_.empty())
      drives[0].fail(
          drives[0].place(),
          "both axles are driven; give [[final_drive]] twice, with axle = \"front\" and axle = \"rear\"");
    for (const auto& t : drives) final_drive(t);
  }
  void final_drive(const Table& t) {
    static const Keys axle_words{"front", "rear"};
    if (driven_ == "all" && !t.has("axle"))
      t.fail(t.place(), "[[final_drive]] has no \"axle\"; add axle = \"front\" or \"rear\"");
    const std::string axle(axle_words[t.word("axle", axle_words, driven_ == "front" ? 0 : 1)]);
    if (driven_ != "all" && axle != driven_)
      t.fail("axle", fmt::format("the {} axle is not driven; \"driven\" says {}", axle, driven_));
    const std::string suffix = driven_ == "all" ? "_" + axle : "", side = axle == "front" ? "f" : "r";
    const std::string pinion = "pinion" + suffix, carrier = "carrier" + suffix;
    if (!has_shaft(pinion)) add_shaft(t, pinion, "final drive pinion");
    add_shaft(t, carrier, "differential carrier");
    join_to_gearbox(t, pinion, suffix);
    const Named n =
        named(t, "ring_and_pinion" + suffix, suffix.empty() ? "ring and pinion" : axle + " ring and pinion");
    add_part(n, PartRole::ring_and_pinion);
    const Teeth count = teeth(t, "pinion", "ring");
    car_.pairs.push_back({.id = n.id,
                          .name = n.name,
                          .driving = pinion,
                          .driven = carrier,
                          .driving_teeth = count.driving,
                          .driven_teeth = count.driven,
                          .teeth_known = count.known,
                          .selected_by = std::nullopt,
                          .relative_tolerance = count.tolerance});
    car_.differentials.push_back(
        {"differential" + suffix, "differential", carrier, "wheel_" + side + "l", "wheel_" + side + "r"});
  }
  void join_to_gearbox(const Table& t, const std::string& pinion, const std::string& suffix) {
    if (output_.empty() || output_ == pinion) return;
    const std::string prop = "propshaft" + suffix;
    if (!has_shaft(prop)) add_shaft(t, prop, "propshaft");
    if (suffix.empty()) couple(t, output_, prop);
    couple(t, prop, pinion);
  }

  void machines() {
    for (const auto& t : top_.tables("machine", "[[machine]]",
                                     {"id", "name", "ratio", "crank_pulley", "pulley", "belt_length",
                                      "driven_by", "creep", "blades", "notes"})) {
      const Named n = named(t);
      Belt belt;
      belt.id = n.id;
      belt.name = n.name;
      belt.driving = shaft_or(t, "driven_by", "engine");
      belt.driven = n.id;
      add_shaft(t, n.id, n.name);
      add_part(n, PartRole::machine, n.id);
      belt.creep_high = t.share("creep").value_or(belt.creep_high);
      pulleys(t, belt);
      belt.blades = t.whole("blades", 0, 40).value_or(0);
      car_.belts.push_back(belt);
    }
  }
  static void pulleys(const Table& t, Belt& belt) {
    const auto driving = t.length("crank_pulley"), driven = t.length("pulley"), run = t.length("belt_length");
    if (const auto ratio = t.ratio("ratio")) {
      belt.ratio = ratio->value;
      belt.creep_low -= ratio->relative_tolerance;
      belt.creep_high += ratio->relative_tolerance;
    } else if (driving && driven && driven->value.value() > 0.0) {
      belt.ratio = driving->value / driven->value;
    } else {
      t.fail(t.place(),
             "[[machine]] needs its speed: add ratio = 2.07 (its turns per turn of the crankshaft), or "
             "crank_pulley and pulley diameters");
    }
    if (driving && run && run->value.value() > 0.0)
      belt.passes_per_driving_turn = std::numbers::pi * (driving->value / run->value);
  }

  void general_pairs() {
    for (const auto& t :
         top_.tables("gear_pair", "[[gear_pair]]",
                     {"id", "name", "driving_shaft", "driven_shaft", "driving", "driven", "ratio",
                      "tolerance", "internal", "gear", "loose", "sliding", "notes"})) {
      const Named n = named(t);
      add_part(n, t.has("gear") ? PartRole::gear_pair : PartRole::constant_pair);
      const Teeth count = teeth(t, "driving", "driven");
      GearPair pair{.id = n.id,
                    .name = n.name,
                    .driving = need_shaft(t, "driving_shaft"),
                    .driven = need_shaft(t, "driven_shaft"),
                    .driving_teeth = count.driving,
                    .driven_teeth = count.driven,
                    .teeth_known = count.known,
                    .internal = t.yes("internal"),
                    .selected_by = std::nullopt,
                    .relative_tolerance = count.tolerance,
                    .sliding = t.yes("sliding")};
      if (pair.driving == pair.driven)
        t.fail("driven_shaft",
               fmt::format("both gears of \"{}\" are on the shaft \"{}\"; a pair joins two shafts", n.id,
                           pair.driven));
      const auto label = t.gear("gear");
      if (label) check_gear(t, "gear", *label);
      if (label) pair.selected_by = Gear{*label};
      static const Keys sides{"driven", "driving"};
      if (label && !pair.sliding)
        loose_pair(t, pair, std::string(sides[t.word("loose", sides, 0)]), gears_based_on(*label));
      else
        car_.pairs.push_back(pair);
    }
  }

  void epicyclics() {
    for (const auto& t : top_.tables("epicyclic", "[[epicyclic]]",
                                     {"id", "name", "sun_shaft", "ring_shaft", "carrier_shaft", "sun", "ring",
                                      "planet", "planets", "notes"})) {
      const Named n = named(t);
      add_part(n, PartRole::epicyclic);
      EpicyclicSet set = epicyclic_teeth(t, false);
      set.id = n.id;
      set.name = n.name;
      set.sun = shaft_or(t, "sun_shaft", "");
      set.ring = shaft_or(t, "ring_shaft", "");
      set.carrier = shaft_or(t, "carrier_shaft", "");
      if (set.sun.empty() + set.ring.empty() + set.carrier.empty() > 1)
        t.fail(t.place(),
               fmt::format("the epicyclic set \"{}\" names fewer than two shafts; name two or three of "
                           "sun_shaft, ring_shaft and carrier_shaft (one left out is held still)",
                           n.id));
      car_.epicyclics.push_back(set);
    }
  }

  void couplings() {
    for (const auto& t :
         top_.tables("coupling", "[[coupling]]", {"join", "hold", "gears", "clutch", "notes"})) {
      const auto joined = t.texts("join");
      if (t.has("hold") == t.has("join"))
        t.fail(t.place(),
               "[[coupling]] needs either join = [\"one shaft\", \"other shaft\"] or hold = \"shaft\"");
      if (t.has("join") && joined.size() != 2)
        t.fail("join", fmt::format("\"join\" of [[coupling]] names {} shafts; expected two", joined.size()));
      for (const auto& shaft : joined)
        if (!has_shaft(shaft))
          t.fail("join",
                 fmt::format(
                     "[[coupling]] joins the shaft \"{}\", which this car does not have; its shafts are {}",
                     shaft, listed(shaft_ids())));
      if (t.has("hold"))
        couple(t, need_shaft(t, "hold"), "", need_gears(t, "gears"));
      else
        couple(t, joined[0], joined[1], need_gears(t, "gears"), t.yes("clutch"));
    }
  }

  void differentials() {
    for (const auto& t : top_.tables("differential", "[[differential]]",
                                     {"id", "name", "carrier", "left", "right", "notes"})) {
      const std::string id = t.need_text("id");
      car_.differentials.push_back({id, t.text("name").value_or(spoken(id)), need_shaft(t, "carrier"),
                                    need_shaft(t, "left"), need_shaft(t, "right")});
      id_places_.emplace(id, t.place());
    }
  }

  void propshafts() {
    for (const auto& t : top_.tables("propshaft", "[[propshaft]]", {"id", "name", "shaft", "notes"})) {
      const Named n = named(t, "propshaft", "propshaft");
      add_part(n, PartRole::propshaft,
               t.has("shaft") || !has_shaft("propshaft") ? need_shaft(t, "shaft") : "propshaft");
    }
  }

  void joints() {
    for (const auto& t :
         top_.tables("joint", "[[joint]]", {"id", "name", "shaft", "kind", "angle", "notes"})) {
      const Named n = named(t);
      const Joint joint{n.id, n.name, need_shaft(t, "shaft"),
                        joint_kinds[t.word("kind", words_of(joint_kinds), 0)].meaning,
                        t.number("angle", 0.0, 45.0)};
      add_part(n, PartRole::joint, joint.shaft, side_of(joint.shaft));
      car_.joints.push_back(joint);
    }
  }

  [[nodiscard]] static Corner side_of(std::string_view shaft) {
    for (const auto& wheel : wheels)
      if (wheel.id == shaft) return wheel.side;
    return Corner::none;
  }
  // Where a bearing sits when the file does not say: by its shaft.
  [[nodiscard]] PartRole role_by_shaft(const Bearing& b) const {
    if (b.turning == TurningRing::both)
      return b.outer_shaft == "input" || b.outer_shaft == "engine" ? PartRole::pilot_bearing
                                                                   : PartRole::other_bearing;
    if (side_of(b.shaft) != Corner::none) return PartRole::wheel_bearing;
    if (b.shaft == "input") return PartRole::input_bearing;
    if (b.shaft == "layshaft") return PartRole::layshaft_bearing;
    if (b.shaft == "mainshaft" || b.shaft == "output") return PartRole::mainshaft_bearing;
    if (b.shaft.starts_with("carrier")) return PartRole::carrier_bearing;
    if (b.shaft.starts_with("propshaft")) return PartRole::centre_bearing;
    const bool machine = std::any_of(car_.belts.begin(), car_.belts.end(),
                                     [&](const Belt& belt) { return belt.driven == b.shaft; });
    return machine ? PartRole::machine_bearing : PartRole::other_bearing;
  }

  void bearings() {
    for (const auto& t :
         top_.tables("bearing", "[[bearing]]",
                     {"id", "name", "shaft", "outer_shaft", "turns", "kind", "place", "side", "designation",
                      "elements", "element_diameter", "pitch_diameter", "contact_angle", "rows", "notes"}))
      bearing(t);
  }
  void bearing(const Table& t) {
    const Named n = named(t);
    Bearing b;
    b.id = n.id;
    b.name = n.name;
    b.shaft = need_shaft(t, "shaft");
    b.outer_shaft = shaft_or(t, "outer_shaft", "");
    b.turning =
        turning_rings[t.word("turns", words_of(turning_rings), b.outer_shaft.empty() ? 0 : 2)].meaning;
    if ((b.turning == TurningRing::both) == b.outer_shaft.empty())
      t.fail(t.place(), fmt::format("the bearing \"{}\" needs turns = \"both\" together with outer_shaft, "
                                    "the shaft its outer ring turns with; give both or neither",
                                    n.id));
    b.element = elements[t.word("kind", words_of(elements), 0)].meaning;
    b.contact_angle_degrees = t.number("contact_angle", 0.0, 60.0).value_or(0.0);
    b.rows = t.whole("rows", 1, 4).value_or(1);
    geometry(t, b);
    const PartRole role =
        t.has("place") ? places[t.word("place", words_of(places), 0)].meaning : role_by_shaft(b);
    static const Keys sides{"left", "right"};
    const Corner side =
        t.has("side") ? (t.word("side", sides, 0) == 0 ? Corner::left : Corner::right) : side_of(b.shaft);
    add_part(n, role, b.shaft, side);
    car_.bearings.push_back(b);
  }
  static void geometry(const Table& t, Bearing& b) {
    b.designation = t.text("designation").value_or("");
    b.count = t.whole("elements", 3, 100);
    if (const auto d = t.length("element_diameter")) b.element_diameter = d->value;
    if (const auto d = t.length("pitch_diameter")) b.pitch_diameter = d->value;
    if (!b.count && !b.element_diameter && !b.pitch_diameter) look_up(b);
    if (b.element_diameter.has_value() != b.pitch_diameter.has_value())
      t.fail(t.place(), fmt::format("the bearing \"{}\" has one of element_diameter and pitch_diameter; give "
                                    "both, or neither if one is not known",
                                    b.id));
    if (b.element_diameter && !b.count)
      t.fail(t.place(), fmt::format("the bearing \"{}\" has diameters but no \"elements\"; add how many "
                                    "balls or rollers there are in a row",
                                    b.id));
    if (b.geometry_known()) check_fit(t, b);
  }
  static void look_up(Bearing& b) {
    for (const auto& known : known_bearings) {
      if (b.designation != known.designation) continue;
      b.count = known.count;
      b.element_diameter = Length(known.element_inch * 0.0254);
      b.pitch_diameter = Length(known.pitch_inch * 0.0254);
      b.relative_tolerance = makers_differ;
    }
  }
  // Centres of neighbours on the pitch circle are D sin(pi/n) apart, which must be at least d.
  static void check_fit(const Table& t, const Bearing& b) {
    const double d = b.element_diameter->value(), pitch = b.pitch_diameter->value(),
                 room = pitch * std::sin(std::numbers::pi / *b.count);
    if (d <= 0.0 || d > room * 1.0001)
      t.fail(t.has("element_diameter") ? t.place("element_diameter") : t.place(),
             fmt::format("{} elements of {:.2f} mm do not fit on a pitch circle of {:.2f} mm (at most {:.2f} "
                         "mm each); check count and diameters of \"{}\"",
                         *b.count, d * 1e3, pitch * 1e3, room * 1e3, b.id));
  }

  void clearances() {
    for (const auto& t :
         top_.tables("clearance", "[[clearance]]", {"id", "name", "part", "new", "limit", "note"})) {
      const Named n = named(t);
      Dimension d{n.id,
                  n.name,
                  t.text("part").value_or(""),
                  t.length("new"),
                  t.length("limit"),
                  t.text("note").value_or("")};
      if (!d.part.empty() && !car_.part(d.part)) {
        Keys ids;
        for (const auto& p : car_.parts) ids.push_back(p.id);
        const std::string near = nearest(d.part, ids);
        t.fail(
            "part",
            fmt::format(
                "the clearance \"{}\" belongs to the part \"{}\", which this car does not have; {}", n.id,
                d.part,
                near.empty() ? "its parts are " + listed(ids) : fmt::format("did you mean \"{}\"?", near)));
      }
      if (!d.nominal_new && !d.limit)
        t.fail(t.place(),
               fmt::format("the clearance \"{}\" has no value; add \"new\", \"limit\" or both", n.id));
      car_.dimensions.push_back(d);
    }
  }

  // -- what only the whole car shows --

  void check_kinematics() {
    std::set<std::string, std::less<>> turning;
    for (const auto& gear : car_.gears)
      for (const auto clutch : {Clutch::engaged, Clutch::pedal_down}) {
        const DriveState state{gear, clutch};
        if (const auto conflict = find_conflict(car_, state))
          throw Mistake{{placed(file_, place_of(conflict->relation), to_text(*conflict, state))}};
        const auto rates = *shaft_rates(car_, state);
        for (const auto& [shaft, rate] : rates) turning.insert(shaft);
        if (!gear.neutral() && clutch == Clutch::engaged) check_driven(gear, rates);
      }
    for (const auto& shaft : car_.shafts)
      if (!turning.contains(shaft.id))
        top_.fail(shaft_places_.at(shaft.id),
                  fmt::format("the shaft \"{}\" is tied to nothing that turns; add the gear pair, coupling "
                              "or belt that drives it",
                              shaft.id));
  }
  void check_driven(const Gear& gear, const ShaftRates& rates) const {
    const auto engine = rates.find("engine");
    if (engine == rates.end() || !engine->second.road_bound())
      top_.fail(top_.place(), fmt::format("in gear {} the engine does not reach the driven wheels; a gear "
                                          "pair or a coupling is missing on the way",
                                          gear.label));
  }
  [[nodiscard]] toml::source_position place_of(const std::string& id) const {
    const auto at = id_places_.find(id);
    return at == id_places_.end() ? toml::source_position{1, 1} : at->second;
  }

  std::string_view file_;
  Table top_;
  Car car_;
  std::string driven_;
  std::string output_;  // the shaft at the gearbox's rear end; "": no [gearbox]
  std::map<std::string, toml::source_position, std::less<>> id_places_, shaft_places_;
};

}  // namespace

Result<Car> read_car(std::string_view toml_text, std::string_view file) {
  if (toml_text.find_first_not_of(" \t\r\n") == std::string_view::npos)
    return Error{placed(file, {1, 1}, "the car file is empty; models/README.md shows what it needs")};
  try {
    const toml::table root = toml::parse(toml_text, file);
    return Reader(root, file).read();
  } catch (const toml::parse_error& e) {
    return Error{placed(file, e.source().begin,
                        fmt::format("this is not TOML ({}); models/README.md shows how a car file is written",
                                    e.description()))};
  } catch (const Mistake& m) {
    return m.error;
  }
}

Result<Car> load_car(const std::string& path) {
  const auto text = text_of_file(path, "the car file");
  return text ? read_car(*text, path) : text.error();
}

}  // namespace gearhark
