#include "gearhark/repair/swap.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>

#include "gearhark/car/driveline.hpp"
#include "gearhark/car/orders.hpp"

namespace gearhark {
namespace {

constexpr double worth_saying = 0.001;  // relative change of a line
const std::string silent = "not recorded";

// The unit turns with the donor's gears, but engine and tyres stay the car's.
Car fitted(const Car& car, const Car& donor, bool donor_tyres) {
  Car out = donor;
  out.engine = car.engine;
  if (!donor_tyres) out.tyre = car.tyre;
  return out;
}

std::optional<double> final_drive(const Car& car) {
  for (const GearPair& pair : car.pairs) {
    const Part* part = car.part(pair.id);
    if (part && part->role == PartRole::ring_and_pinion)
      return static_cast<double>(pair.driven_teeth) / pair.driving_teeth;
  }
  return std::nullopt;
}

std::optional<double> ratio_in(const Car& car, const Gear& gear) {
  if (std::find(car.gears.begin(), car.gears.end(), gear) == car.gears.end()) return std::nullopt;
  const auto ratio = overall_ratio(car, gear);
  if (!ratio) return std::nullopt;
  return std::abs(*ratio);
}

std::vector<ShaftRate> engine_rates(std::optional<double> ratio, Length roll_out,
                                    const std::vector<WrittenSpeed>& speeds) {
  std::vector<ShaftRate> rates;
  if (!ratio) return rates;
  for (const auto& speed : speeds) rates.push_back(speed.value / roll_out * *ratio);
  return rates;
}

std::vector<SwapGear> gears_side_by_side(const Car& car, const Car& after, const SwapQuestion& q) {
  std::vector<Gear> labels = car.gears;
  for (const Gear& gear : after.gears)
    if (std::find(labels.begin(), labels.end(), gear) == labels.end()) labels.push_back(gear);
  std::vector<SwapGear> out;
  for (const Gear& gear : labels) {
    if (gear.neutral()) continue;
    SwapGear row{gear, ratio_in(car, gear), ratio_in(after, gear), {}, {}};
    row.engine_before = engine_rates(row.before, car.tyre.rolling_circumference, q.speeds);
    row.engine_after = engine_rates(row.after, after.tyre.rolling_circumference, q.speeds);
    out.push_back(std::move(row));
  }
  return out;
}

// Needle after over before at one road speed: the cable turns as often as what drives it.
double speedometer_change(const Swap& swap, const Car& car, const Car& after) {
  const double tyres = car.tyre.rolling_circumference / after.tyre.rolling_circumference;
  const bool by_unit = swap.asked.drive == SpeedometerDrive::unit && swap.final_before && swap.final_after;
  return tyres * (by_unit ? *swap.final_after / *swap.final_before : 1.0);
}

// -- facts --

class SideBySide {
 public:
  void car(const std::string& what, const std::string& value) { row(what).car = value; }
  void donor(const std::string& what, const std::string& value) { row(what).donor = value; }
  std::vector<SwapFact> differences_first() && {
    for (SwapFact& fact : facts_) fact.differs = fact.car != fact.donor;
    std::stable_partition(facts_.begin(), facts_.end(), [](const SwapFact& f) { return f.differs; });
    return std::move(facts_);
  }

 private:
  SwapFact& row(const std::string& what) {
    const auto [at, fresh] = where_.try_emplace(what, facts_.size());
    if (fresh) facts_.push_back({what, silent, silent, false});
    return facts_[at->second];
  }
  std::vector<SwapFact> facts_;
  std::map<std::string, std::size_t> where_;
};

std::string in_mm(Length length) { return fmt::format("{:.6g} mm", length.value() * 1e3); }

std::string as_written(const std::optional<WrittenLength>& length) {
  if (!length) return "not given";
  return to_text(length->value, length->unit, length->unit == LengthUnit::inch ? 4 : 2);
}

std::string words_for(const Bearing& b) {
  constexpr std::array kinds{"ball", "angular ball", "cylindrical roller", "taper roller", "needle"};
  std::string out = kinds[static_cast<std::size_t>(b.element)];
  if (!b.designation.empty()) out += " " + b.designation;
  out += b.count ? fmt::format(", {} elements", *b.count) : ", elements not counted";
  if (b.rows > 1) out += fmt::format(" in each of {} rows", b.rows);
  if (b.element_diameter && b.pitch_diameter)
    out += ", " + in_mm(*b.element_diameter) + " on " + in_mm(*b.pitch_diameter);
  return out;
}

std::string words_for(const GearPair& p) {
  return p.teeth_known ? fmt::format("{} to {} teeth", p.driving_teeth, p.driven_teeth)
                       : fmt::format("ratio {:.3f}", static_cast<double>(p.driven_teeth) / p.driving_teeth);
}

std::string driven_axle(const Car& car) {
  const auto on = [&](const char* axle) {
    return std::any_of(car.driven_wheels.begin(), car.driven_wheels.end(),
                       [&](const std::string& w) { return w.starts_with(axle); });
  };
  return on("wheel_f") && on("wheel_r") ? "all wheels" : on("wheel_f") ? "front" : "rear";
}

std::string named(const std::string& name, const std::string& id) { return name.empty() ? id : name; }

// Everything about the unit that a car file records.
template <class Tell>
void tell_facts(const Car& car, const Tell& tell) {
  tell("driven axle", driven_axle(car));
  tell("tyre", (car.tyre.designation.empty() ? "rolled out" : car.tyre.designation) + ", " +
                   in_mm(car.tyre.rolling_circumference) + " round");
  for (const GearPair& p : car.pairs) tell(named(p.name, p.id), words_for(p));
  for (const EpicyclicSet& e : car.epicyclics)
    tell(named(e.name, e.id), fmt::format("sun {}, ring {} teeth", e.sun_teeth, e.ring_teeth));
  for (const Bearing& b : car.bearings) tell(named(b.name, b.id), words_for(b));
  for (const Joint& j : car.joints)
    tell(named(j.name, j.id), j.kind == JointKind::cardan     ? "cardan joint"
                              : j.kind == JointKind::six_ball ? "six-ball joint"
                                                              : "tripod joint");
  for (const Dimension& d : car.dimensions)
    tell(named(d.name, d.id), "new " + as_written(d.nominal_new) + ", limit " + as_written(d.limit) +
                                  (d.note.empty() ? "" : " (" + d.note + ")"));
  if (!car.notes.empty()) tell("notes", car.notes);
}

std::vector<SwapFact> facts_of(const Car& car, const Car& donor) {
  SideBySide side_by_side;
  tell_facts(car, [&](const std::string& what, const std::string& value) { side_by_side.car(what, value); });
  tell_facts(donor,
             [&](const std::string& what, const std::string& value) { side_by_side.donor(what, value); });
  return std::move(side_by_side).differences_first();
}

// -- lines --

using RowKey = std::pair<std::string, std::string>;  // part, happening

bool stays_with_the_engine(const Car& car, const std::string& id) {
  const Part* part = car.part(id);
  return part && (part->role == PartRole::machine || part->role == PartRole::machine_bearing ||
                  part->role == PartRole::engine);
}

std::map<RowKey, OrderRow> rows_of(const OrderTable& table) {
  std::map<RowKey, OrderRow> rows;
  for (const OrderRow& row : table.rows)
    if (row.per_wheel) rows.try_emplace({row.part, row.happening}, row);
  return rows;
}

double change_of(const SwapLine& line) {
  if (!line.before || !line.after) return std::numeric_limits<double>::infinity();
  return std::abs(std::log(*line.after / *line.before));
}

// Engine and belt-driven machines stay with the car and follow the new ratio.
std::map<RowKey, OrderRow> after_the_swap(const Car& car, const std::map<RowKey, OrderRow>& before,
                                          const OrderTable& after, double overall) {
  std::map<RowKey, OrderRow> rows;
  for (const auto& [key, row] : rows_of(after))
    if (!stays_with_the_engine(car, row.part) && row.part != "engine") rows.try_emplace(key, row);
  for (const auto& [key, row] : before) {
    if (!row.per_engine || !(stays_with_the_engine(car, row.part) || row.part == "engine")) continue;
    OrderRow moved = row;
    moved.per_wheel = *row.per_engine * overall;
    if (after.wheel) moved.frequency = *moved.per_wheel * *after.wheel;
    rows.try_emplace(key, moved);
  }
  return rows;
}

std::vector<SwapLine> changed(const std::map<RowKey, OrderRow>& before,
                              const std::map<RowKey, OrderRow>& after) {
  std::map<RowKey, SwapLine> lines;
  for (const auto& [key, row] : before)
    lines[key] = {row.part, row.name, row.happening, row.per_wheel, {}, row.frequency, {}};
  for (const auto& [key, row] : after) {
    SwapLine& line =
        lines.try_emplace(key, SwapLine{row.part, row.name, row.happening, {}, {}, {}, {}}).first->second;
    line.after = row.per_wheel;
    line.hertz_after = row.frequency;
  }
  std::vector<SwapLine> out;
  for (const auto& [key, line] : lines)
    if (change_of(line) > worth_saying) out.push_back(line);
  std::stable_sort(out.begin(), out.end(), [](const SwapLine& a, const SwapLine& b) {
    const bool both_a = a.before && a.after, both_b = b.before && b.after;
    return both_a != both_b ? both_a : change_of(a) > change_of(b);
  });
  return out;
}

std::optional<Gear> highest_common(const Swap& swap) {
  const SwapGear* best = nullptr;
  for (const SwapGear& g : swap.gears)
    if (g.before && g.after && (!best || *g.before < *best->before)) best = &g;
  return best ? std::optional(best->gear) : std::nullopt;
}

std::optional<Error> listen_for_lines(Swap& swap, const Car& car, const Car& after) {
  const auto gear = swap.asked.listen ? swap.asked.listen : highest_common(swap);
  if (!gear) return Error{"the two cars have no gear in common, so no lines can be compared"};
  swap.listened = *gear;
  const OrdersQuestion question{{*gear, Clutch::engaged}, swap.asked.speeds.front().value, {}};
  const auto old_table = order_table(car, question);
  if (!old_table) return Error{old_table.error().sentence, ErrorKind::usage};
  const auto new_table = order_table(after, question);
  if (!new_table) return Error{"the donor: " + new_table.error().sentence, ErrorKind::usage};
  const auto before = rows_of(*old_table);
  const auto overall = ratio_in(after, *gear);
  swap.lines = changed(before, after_the_swap(car, before, *new_table, overall.value_or(0.0)));
  return std::nullopt;
}

void advise(Swap& swap) {
  if (swap.asked.drive == SpeedometerDrive::unit)
    swap.remarks.emplace_back(
        "Speedometer: taken as driven from the unit's output shaft through the car's own speedometer gears; "
        "if it is driven by a road wheel, say so with --speedometer wheel.");
  const double high = (1.0 + swap.asked.reads_high) * swap.speedometer_change - 1.0;
  if (high < -0.001)
    swap.remarks.push_back(fmt::format(
        "The speedometer would read {:.1f} % low. A needle below the true speed is not allowed where UN "
        "Regulation No. 39 applies; change its drive gear or its calibration.",
        -100.0 * high));
  else if (high > 0.1)
    swap.remarks.push_back(
        fmt::format("The speedometer would read {:.1f} % high: near or beyond what UN "
                    "Regulation No. 39 allows (a tenth and 4 km/h).",
                    100.0 * high));
  swap.remarks.emplace_back(
      "Judge the next recording with a car file that holds the donor's gearbox, final drive and bearings and "
      "this car's tyre, or every line is looked for in the wrong place.");
  swap.cautions = {
      "A unit that turns on the bench or in gear on stands: rated stands on firm level ground, the wheels on "
      "the ground chocked, nobody under or beside what turns, no loose clothing. With one wheel held the "
      "other "
      "turns twice as fast as the speedometer says; with a limited-slip or locked axle raise both (service "
      "literature, general).",
      "Figures alike in both files are no proof that a unit fits: flanges, splines, mountings, input shaft "
      "length and clutch are not in a car file. Measure them on the unit itself.",
      "Another ratio or gearbox may need an entry in the papers or an inspection: local law comes first."};
}

}  // namespace

Result<Swap> swap_unit(const Car& car, const Car& donor, const SwapQuestion& question) {
  if (question.speeds.empty()) return Error{"no road speed is given; add one", ErrorKind::usage};
  const Car after = fitted(car, donor, question.donor_tyres);
  Swap out;
  out.car_name = car.name;
  out.donor_name = donor.name;
  out.asked = question;
  out.final_before = final_drive(car);
  out.final_after = final_drive(donor);
  out.gears = gears_side_by_side(car, after, question);
  out.speedometer_change = speedometer_change(out, car, after);
  for (const auto& speed : question.speeds) {
    const Speed shown = speed.value * (1.0 + question.reads_high);
    out.readings.push_back({speed.value, shown, shown * out.speedometer_change});
  }
  out.facts = facts_of(car, donor);
  if (const auto error = listen_for_lines(out, car, after)) return *error;
  advise(out);
  return out;
}

}  // namespace gearhark
