#include "gearhark/repair/decide.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "gearhark/diagnosis/explain.hpp"

namespace gearhark {
namespace {

constexpr double worth_a_caution = 0.10;  // probability of the parts that can hurt, together

// What is inside a gearbox and final drive (common practice: such a unit is changed as one).
bool in_usual_unit(PartRole role) {
  switch (role) {
    case PartRole::input_bearing:
    case PartRole::layshaft_bearing:
    case PartRole::mainshaft_bearing:
    case PartRole::pilot_bearing:
    case PartRole::pinion_head_bearing:
    case PartRole::pinion_tail_bearing:
    case PartRole::carrier_bearing:
    case PartRole::gear_pair:
    case PartRole::constant_pair:
    case PartRole::ring_and_pinion:
    case PartRole::epicyclic:
    case PartRole::transfer_pair:
      return true;
    default:
      return false;
  }
}

bool inside(const Car& car, const Prices& prices, const std::string& id) {
  if (!prices.unit.empty()) return std::find(prices.unit.begin(), prices.unit.end(), id) != prices.unit.end();
  const Part* part = car.part(id);
  return part && in_usual_unit(part->role);
}

template <class Test>
double sum_where(const Chances& chances, const Test& test) {
  double sum = 0.0;
  for (const SuspectChance& s : chances.suspects)
    if (test(s)) sum += s.probability.value();
  return std::min(1.0, sum);
}

std::string percent(double share) { return fmt::format("{:.0f} %", 100.0 * share); }

// What every option is reckoned from; see decide.hpp for the letters.
struct Sums {
  double p = 0.0, e = 0.0;  // fault in the unit, fault elsewhere
  double rebuild = 0.0, used = 0.0, good = 1.0, whole = 0.0, elsewhere = 0.0;
  bool has_used = false;
};

Sums sums_of(const Car& car, const Chances& chances, const Prices& prices) {
  Sums s;
  s.p = sum_where(chances, [&](const SuspectChance& c) { return inside(car, prices, c.part); });
  s.e = sum_where(chances, [&](const SuspectChance& c) { return !inside(car, prices, c.part); }) +
        chances.unexplained.value();
  s.rebuild = prices.cost(prices.rebuild);
  s.whole = s.rebuild;
  s.elsewhere = prices.elsewhere ? prices.cost(*prices.elsewhere) : 0.0;
  if (!prices.used_unit) return s;
  s.has_used = true;
  s.used = prices.cost(prices.used_unit->job);
  s.good = prices.used_unit->bad.complement().value();
  s.whole = std::min(s.rebuild, s.used / s.good);
  return s;
}

Option rebuild_option(const Sums& s) {
  Option out{OptionKind::rebuild, "rebuild the unit", {},    s.rebuild, s.rebuild + s.e * s.elsewhere,
             Probability(s.p),    s.rebuild,          false, {}};
  return out;
}

std::string used_break_even(const Sums& s) {
  const double least_good = s.used / s.rebuild;
  if (least_good >= 1.0) return "The used unit costs no less than a rebuild, so it is never the better bet.";
  return fmt::format(
      "The used unit is the better bet unless more than {} of such units are bad (break-even: one in {:.3g} "
      "must be good).",
      percent(1.0 - least_good), 1.0 / least_good);
}

Option used_option(const Sums& s) {
  Option out{OptionKind::used_unit,
             "fit a good used unit",
             {},
             s.used,
             s.used / s.good + s.e * s.elsewhere,
             Probability(s.p * s.good),
             s.used,
             false,
             {}};
  out.break_even.push_back(used_break_even(s));
  return out;
}

std::string names_of(const Car& car, const std::vector<std::string>& parts) {
  std::string out;
  for (const auto& id : parts) out += (out.empty() ? "the " : " and the ") + part_name(car, id);
  return out;
}

Option bearing_option(const Car& car, const Chances& chances, const Prices& prices, const BearingJob& job,
                      const Sums& s) {
  const auto renewed = [&](const SuspectChance& c) {
    return std::find(job.parts.begin(), job.parts.end(), c.part) != job.parts.end();
  };
  const double q = sum_where(chances, renewed);
  const double inside_q =
      sum_where(chances, [&](const SuspectChance& c) { return renewed(c) && inside(car, prices, c.part); });
  Option out{OptionKind::replace_parts,
             "renew " + names_of(car, job.parts),
             job.parts,
             prices.cost(job.job),
             0.0,
             Probability(q),
             prices.cost(job.job),
             false,
             {}};
  out.expected = out.outlay + (s.p - inside_q) * s.whole + (s.e - (q - inside_q)) * s.elsewhere;
  // Against going for the whole unit at once: S + (p - q) W < W.
  const double least = out.outlay / s.whole - (1.0 - s.p);
  if (least >= s.p)
    out.break_even.push_back(fmt::format(
        "It costs too much beside the whole unit to be the better first step, whatever its chance (now {}).",
        percent(q)));
  else if (least <= 0.0)
    out.break_even.emplace_back(
        "It is the better first step whatever its chance: the whole unit costs so much more, and the fault "
        "may "
        "not be in it.");
  else
    out.break_even.push_back(
        fmt::format("It is the better first step than the whole unit if the chance that it is the culprit is "
                    "above {}; the "
                    "diagnosis says {}.",
                    percent(least), percent(q)));
  return out;
}

Option drive_on_option(const DriveOn& on, const Prices& prices, const Sums& s, double best, bool hurts) {
  const double fault = std::min(1.0, s.p + s.e), listening = prices.cost(on.listening), w = on.worse.value();
  Option out{OptionKind::drive_on,
             "drive on and listen again",
             {},
             listening,
             0.0,
             Probability(0.0),
             listening,
             hurts,
             {}};
  out.expected = listening + fault * ((1.0 - w) * best + w * on.failure);
  if (hurts) {
    out.break_even.emplace_back("No sum of money decides this one: see the cautions.");
    return out;
  }
  // L + f ((1 - w) B + w F) = B
  if (on.failure <= best || fault <= 0.0) return out;
  const double most = (best * (1.0 - fault) - listening) / (fault * (on.failure - best));
  out.break_even.push_back(
      most <= 0.0
          ? "Waiting does not pay even if nothing gives way meanwhile: the fault is too likely."
          : fmt::format("Waiting is the better bet only while the chance that the fault gives way before "
                        "the next listening is below {}; it was put at {}.",
                        percent(std::min(1.0, most)), percent(w)));
  return out;
}

double hurting(const Car& car, const Chances& chances) {
  return sum_where(chances, [&](const SuspectChance& c) {
    const Part* part = car.part(c.part);
    return part && hurts_to_drive_on(part->role);
  });
}

std::vector<std::string> cautions_of(const Car& car, const Chances& chances, double p) {
  std::vector<std::string> cautions;
  for (const SuspectChance& s : chances.suspects) {
    const Part* part = car.part(s.part);
    if (part && hurts_to_drive_on(part->role) && s.probability.value() >= 0.5 * worth_a_caution)
      cautions.push_back(
          fmt::format("The {} is among the suspects ({}). Do not drive on before it has been checked by hand "
                      "for play, heat "
                      "and tightness; when it lets go, a wheel or a turning shaft can come adrift.",
                      part_name(car, s.part), percent(s.probability.value())));
  }
  if (p >= worth_a_caution)
    cautions.emplace_back(
        "A bearing or tooth that breaks up inside a gearbox or final drive can lock the driven wheels "
        "without "
        "warning. If the noise grows, metal shows in the oil, or a gear jumps out: stop, and do not drive "
        "on.");
  cautions.emplace_back(
      "These are sums of money, no judgement of fitness for the road: local law and the judgement of a "
      "qualified workshop come first.");
  return cautions;
}

std::vector<std::string> remarks_of(const Chances& chances, const Prices& prices, const Sums& s) {
  std::vector<std::string> remarks;
  if (chances.verdict != "fault heard")
    remarks.push_back(
        fmt::format("The diagnosis says \"{}\": listening again before money is spent is usually "
                    "the better first step.",
                    chances.verdict));
  if (!prices.elsewhere && s.e > 0.05)
    remarks.push_back(
        fmt::format("The chance that the fault is outside the unit is {}; what that would cost is not "
                    "in the prices ([elsewhere]) and counts as nothing.",
                    percent(s.e)));
  if (chances.no_fault.value() > 0.05)
    remarks.push_back(
        fmt::format("With a chance of {} there is no fault at all; then all but driving on is money "
                    "spent in vain.",
                    percent(chances.no_fault.value())));
  remarks.emplace_back(
      "The costs rest on the diagnosis's percentages and on the prices and chances given; a break-even shows "
      "how "
      "far either may be wrong before the order changes.");
  return remarks;
}

}  // namespace

std::string to_text(OptionKind kind) {
  switch (kind) {
    case OptionKind::rebuild:
      return "rebuild";
    case OptionKind::used_unit:
      return "used unit";
    case OptionKind::replace_parts:
      return "replace parts";
    case OptionKind::drive_on:
      break;
  }
  return "drive on";
}

Chances chances_of(const Diagnosis& diagnosis) {
  Chances out{diagnosis.car_name, to_text(diagnosis.verdict), {}, diagnosis.no_fault, diagnosis.unexplained};
  for (const Suspect& s : diagnosis.suspects) out.suspects.push_back({s.part, s.name, s.probability});
  return out;
}

Decision decide(const Car& car, const Chances& chances, const Prices& prices) {
  const Sums s = sums_of(car, chances, prices);
  Decision out;
  out.chances = chances;
  out.currency = prices.currency;
  out.in_unit = Probability(s.p);
  out.elsewhere = Probability(s.e);
  out.no_fault = chances.no_fault;
  out.options.push_back(rebuild_option(s));
  if (s.has_used) {
    out.options.push_back(used_option(s));
    out.used_break_even = s.used / s.rebuild;
  }
  for (const BearingJob& job : prices.bearings)
    out.options.push_back(bearing_option(car, chances, prices, job, s));
  const auto cheaper = [](const Option& a, const Option& b) {
    return a.advised_against != b.advised_against ? b.advised_against : a.expected < b.expected;
  };
  const double best = std::min_element(out.options.begin(), out.options.end(), cheaper)->expected;
  if (prices.drive_on)
    out.options.push_back(
        drive_on_option(*prices.drive_on, prices, s, best, hurting(car, chances) >= worth_a_caution));
  std::stable_sort(out.options.begin(), out.options.end(), cheaper);
  out.cautions = cautions_of(car, chances, s.p);
  out.remarks = remarks_of(chances, prices, s);
  return out;
}

}  // namespace gearhark
