#include "loud_parts.hpp"

#include <algorithm>
#include <cmath>
#include <span>

#include "gearhark/car/driveline.hpp"

namespace gearhark::tracking {
namespace {

constexpr int kOvertones = 24;
constexpr double kVisible = 0.35;  // share of them that stand out where a part is loud
constexpr double kSlipStep = 0.002;
// Nats/s, of 12 synthesised runs with a loud generator and 60 road tests of all kinds: loud ones explained 25
// to 85 more and their votes alone, at one rate throughout, came to -1 or more; three quarters of the others
// stayed below, which saves the search.
constexpr double kAudible = -2.0, kBetter = 4.0;

// A knock is short and rings in the housing, so its turns sound much further up. Of 72 synthesised runs with
// a chipped tooth 12 dB above all else the speed was found in 55 without this and in 65 with it; nine in ten
// explained more than this, and of 240 practice runs 10. Of 56 dry joints 25 were placed rightly without and
// 51 with it.
constexpr int kKnockOvertones = 80;
constexpr double kKnockBetter = 20.0;
// A lump is long and sounds through rubber. Of 48 such tyres 29 were placed within 0.3 % without this, four
// surely further off; 35 and one with it.
constexpr int kLumpOvertones = 40;

std::vector<TrackingLine> turns_of(double order, LineSource source, int overtones) {
  std::vector<TrackingLine> lines;
  for (int k = 1; k <= overtones; ++k) lines.push_back({k * order, kVisible, source, kNoOrigin});
  return lines;
}

std::vector<TrackingLine> together(std::vector<TrackingLine> lines, const std::vector<TrackingLine>& more) {
  lines.insert(lines.end(), more.begin(), more.end());
  return lines;
}

// Of several sets of lines the one that explains most beside what is known; none if it is not `better` by so
// many nats/s.
std::vector<TrackingLine> most_telling(const AngleSearch& search, const std::vector<TrackingLine>& known,
                                       const std::vector<std::vector<TrackingLine>>& possible,
                                       double better) {
  std::vector<TrackingLine> chosen;
  if (possible.empty()) return chosen;
  double best = search.evidence_per_s(known) + better;
  for (const std::vector<TrackingLine>& turns : possible) {
    const double evidence = search.evidence_per_s(together(known, turns));
    if (evidence <= best) continue;
    best = evidence;
    chosen = turns;
  }
  return chosen;
}

// Empty: what is known explains the sound as well without this machine.
std::vector<TrackingLine> if_heard(const AngleSearch& search, const Line& turn,
                                   const std::vector<TrackingLine>& known) {
  const auto turns_at = [order = std::abs(turn.rate.wheel)](double slip) {
    return turns_of(order * (1.0 + slip), LineSource::machine, kOvertones);
  };
  std::vector<std::vector<TrackingLine>> possible;
  if (search.most_votes_per_s(turns_at(0.0), turn.low, turn.high) >= kAudible)
    for (double slip = turn.low; slip <= turn.high + 1e-9; slip += kSlipStep)
      possible.push_back(turns_at(slip));
  return most_telling(search, known, possible, kBetter);
}

// A machine that knocks would leave its further overtones to whatever else has some there.
std::vector<double> machines_heard(std::span<const TrackingLine> lines) {
  std::vector<double> turns;
  double last = HUGE_VAL;  // a machine's lines lie behind one another, its turns first
  for (const TrackingLine& line : lines) {
    if (line.source == LineSource::machine && line.order < last) turns.push_back(line.order);
    last = line.source == LineSource::machine ? line.order : HUGE_VAL;
  }
  return turns;
}

bool knocks(Fault fault) { return fault == Fault::chipped_tooth || fault == Fault::dry_joint; }

// What may strike regularly: every tooth once per turn, a joint as often as its cups do, the engine (in two
// turns), and every tyre, whose turns are not quite those of the mean wheel.
std::vector<std::vector<TrackingLine>> strikes(const Car& car, const DriveState& state) {
  constexpr double tyres_apart = 0.006;  // as far as the evidence of tyres goes
  std::vector<double> orders;
  const auto rates = shaft_rates(car, state);
  if (!rates) return {};
  if (const auto engine = rates->find("engine"); engine != rates->end() && engine->second.wheel != 0.0)
    orders.push_back(0.5 * std::abs(engine->second.wheel));
  for (const Family& family : fault_families(car, state, *rates)) {
    const double order = std::abs(family.base.wheel);
    const auto same = [&](double other) { return std::abs(other - order) < 1e-4 * order; };
    if (knocks(family.fault) && order > 0.0 && std::none_of(orders.begin(), orders.end(), same))
      orders.push_back(order);
  }
  std::vector<std::vector<TrackingLine>> all;
  for (const double order : orders) all.push_back(turns_of(order, LineSource::knock, kKnockOvertones));
  for (double apart = -tyres_apart; apart < tyres_apart + 1e-9; apart += kSlipStep)
    all.push_back(turns_of(1.0 + apart, LineSource::knock, kLumpOvertones));
  return all;
}

}  // namespace

void add_loud_machines(const AngleSearch& search, CarLines& lines) {
  for (const Line& line : lines.predicted)
    if (line.kind == LineKind::machine_turn && line.harmonic == 1 && line.rate.wheel != 0.0)
      lines.wheel = together(lines.wheel, if_heard(search, line, lines.wheel));
}

void add_loud_knock(const AngleSearch& search, const Car& car, const DriveState& state, CarLines& lines) {
  std::vector<std::vector<TrackingLine>> possible = strikes(car, state);
  for (const double order : machines_heard(lines.wheel))
    possible.push_back(turns_of(order, LineSource::knock, kKnockOvertones));
  std::erase_if(possible,
                [&](const auto& turns) { return search.most_votes_per_s(turns, 0.0, 0.0) < kAudible; });
  lines.wheel = together(lines.wheel, most_telling(search, lines.wheel, possible, kKnockBetter));
}

}  // namespace gearhark::tracking
