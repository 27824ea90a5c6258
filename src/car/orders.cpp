#include "gearhark/car/orders.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "gearhark/car/joint.hpp"
#include "meshes.hpp"

namespace gearhark {
namespace {

constexpr double fastest_speed = 500.0 / 3.6, fastest_engine = 20000.0 / 60.0;

std::optional<Error> implausible(const OrdersQuestion& q) {
  if (q.speed && !(q.speed->value() > 0.0 && q.speed->value() <= fastest_speed))
    return Error{fmt::format("a speed of {} can't be; give one above 0 and up to 500 km/h",
                             to_text(*q.speed, SpeedUnit::kmh))};
  if (q.engine && !(q.engine->value() > 0.0 && q.engine->value() <= fastest_engine))
    return Error{fmt::format("an engine speed of {:.0f} rpm can't be; give one above 0 and up to 20000 rpm",
                             q.engine->value() * 60.0)};
  return std::nullopt;
}

std::string name_of(const Car& car, const std::string& id) {
  if (const Part* part = car.part(id)) return part->name;
  const auto shaft =
      std::find_if(car.shafts.begin(), car.shafts.end(), [&](const Shaft& s) { return s.id == id; });
  return shaft == car.shafts.end() ? id : shaft->name;
}

// One row per fundamental: of harmonics only a fan's blades are worth a row.
bool worth_a_row(const Line& line) {
  switch (line.kind) {
    case LineKind::mesh_sideband:
    case LineKind::outer_race:
    case LineKind::inner_race:
    case LineKind::rolling_element:
    case LineKind::cage:
      return false;  // bearings come as fault families, with slip and unknown sizes
    case LineKind::machine_turn:
      return line.harmonic != 2;
    default:
      return line.harmonic == 1;
  }
}

std::string joint_beats(const Car& car, const std::string& id) {
  for (const auto& joint : car.joints)
    if (joint.id == id && joint.kind == JointKind::cardan && joint.angle_degrees)
      return fmt::format("joint beats; {:.1f} % uneven at {} degrees",
                         100.0 * hooke_unevenness(*joint.angle_degrees), *joint.angle_degrees);
  return "joint beats";
}

std::string happening(const Car& car, const Line& line) {
  switch (line.kind) {
    case LineKind::firing:
      return "fires";
    case LineKind::engine_half_order:
      return "half order, once per working cycle";
    case LineKind::mesh:
      return line.loaded ? "teeth mesh, carrying the drive" : "teeth mesh, idling";
    case LineKind::mesh_phase:
      return "same phase of the tooth counts' common factor";
    case LineKind::hunting_tooth:
      return "the same two teeth meet again";
    case LineKind::planet_pass:
      return "planets pass";
    case LineKind::joint:
      return joint_beats(car, line.part);
    case LineKind::belt:
      return "belt goes round once";
    case LineKind::tread:
      return "tread blocks";
    case LineKind::machine_turn:
      return line.harmonic > 1 ? "blades pass" : "turns";
    default:
      return "turns";
  }
}

std::string happening(const Family& f) {
  std::string out = f.fault == Fault::cage              ? "cage turns"
                    : f.fault == Fault::rolling_element ? "defect on a rolling element"
                                                        : "defect on the " + to_text(f.fault);
  if (f.knowledge == Knowledge::count_only)
    out += fmt::format(", sizes of its {} elements not known", f.elements);
  if (f.knowledge == Knowledge::nothing)
    out += fmt::format(", {} to {} elements", fewest_elements, most_elements);
  return out;
}

bool is_bearing_fault(Fault fault) { return fault <= Fault::cage; }

// Smallest and largest fundamental, relative to the base, over slip and over sizes that are not known.
Spread whole_spread(const Family& f) {
  return {f.geometry_low * (1.0 + f.slip_low) - 1.0, f.geometry_high * (1.0 + f.slip_high) - 1.0};
}

struct Speeds {
  std::optional<ShaftRate> wheel, engine;
  bool by_road = false;  // wheel rate rests on the tyre
  double overall = 0.0;  // engine turns per wheel turn; 0: not tied
};

Speeds speeds_of(const Car& car, const OrdersQuestion& q, const ShaftRates& rates) {
  Speeds s;
  const auto engine = rates.find("engine");
  if (engine != rates.end() && engine->second.road_bound()) s.overall = std::abs(engine->second.wheel);
  if (q.speed) s.wheel = *q.speed / car.tyre.rolling_circumference;
  s.by_road = q.speed.has_value();
  s.engine = q.engine;
  if (s.overall > 0.0 && s.wheel) s.engine = *s.wheel * s.overall;
  if (s.overall > 0.0 && !s.wheel && s.engine) s.wheel = *s.engine / s.overall;
  return s;
}

OrderRow row_of(const Car& car, const Speeds& s, const std::string& part, std::string words, const Rate& rate,
                Spread spread) {
  OrderRow row{.part = part,
               .name = name_of(car, part),
               .happening = std::move(words),
               .per_wheel = {},
               .per_engine = {},
               .frequency = {}};
  row.low = spread.low;
  row.high = spread.high;
  if (rate.engine == 0.0) row.per_wheel = Order(std::abs(rate.wheel));
  if (rate.wheel == 0.0)
    row.per_engine = Order(std::abs(rate.engine));
  else if (s.overall > 0.0)
    row.per_engine = Order(std::abs(rate.wheel) / s.overall);
  const bool known = (rate.wheel == 0.0 || s.wheel) && (rate.engine == 0.0 || s.engine);
  if (known) row.frequency = rate.at(s.wheel.value_or(ShaftRate(0)), s.engine.value_or(ShaftRate(0)));
  const double tyre = s.by_road && rate.wheel != 0.0 ? car.tyre.relative_tolerance : 0.0;
  row.frequency_low = row.low - tyre;
  row.frequency_high = row.high + tyre;
  return row;
}

double sort_key(const OrderRow& row) {
  if (row.frequency) return row.frequency->value();
  return (row.per_wheel ? *row.per_wheel : row.per_engine.value_or(Order(0))).value();
}

// Nothing known: the base is the ring's rate alone, so centre the row on its range.
void add_family(std::vector<OrderRow>& rows, const Car& car, const Speeds& s, const Family& f) {
  Spread spread = whole_spread(f);
  Rate base = f.base;
  if (f.knowledge == Knowledge::nothing) {
    const double middle = 1.0 + (spread.low + spread.high) / 2.0;
    base = base * middle;
    spread = {(1.0 + spread.low) / middle - 1.0, (1.0 + spread.high) / middle - 1.0};
  }
  rows.push_back(row_of(car, s, f.part, happening(f), base, spread));
}

}  // namespace

Result<OrderTable> order_table(const Car& car, const OrdersQuestion& question) {
  if (const auto error = implausible(question)) return *error;
  const auto rates = shaft_rates(car, question.state);
  if (!rates) return rates.error();
  const Speeds speeds = speeds_of(car, question, *rates);
  if (speeds.overall > 0.0 && question.speed && question.engine)
    return Error{fmt::format("in gear {} the engine speed follows from the road speed; give one of the two",
                             question.state.gear.label),
                 ErrorKind::usage};
  OrderTable table{car.name, {}, question, speeds.wheel, speeds.engine, {}};
  for (const Gear& gear : car.gears) table.gears.push_back(gear.label);
  for (const auto& line : predicted_lines(car, question.state, *rates))
    if (worth_a_row(line))
      table.rows.push_back(
          row_of(car, speeds, line.part, happening(car, line), line.rate, {line.low, line.high}));
  for (const auto& family : fault_families(car, question.state, *rates))
    if (is_bearing_fault(family.fault)) add_family(table.rows, car, speeds, family);
  std::stable_sort(table.rows.begin(), table.rows.end(), [](const OrderRow& a, const OrderRow& b) {
    return a.frequency.has_value() != b.frequency.has_value() ? a.frequency.has_value()
                                                              : sort_key(a) < sort_key(b);
  });
  return table;
}

}  // namespace gearhark
