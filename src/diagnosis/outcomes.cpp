#include "outcomes.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "gearhark/evidence/event_comb.hpp"

namespace gearhark {
namespace {

constexpr double usual_s = 30.0;
// How loud the fault is is not known: within a factor of two of that.
constexpr double quietest = 0.5, loudest = 2.0;
// A phone's microphone input cuts low notes: half the amplitude here, judged between the 110 Hz and 200 Hz
// that are told of single models.
constexpr double phone_low_cut_hz = 150.0;
constexpr double mask_bins = 2.5;  // as in grouped()
constexpr double least_weight = 1e-6;

double phone_picks_up(double hz) { return hz * hz / (hz * hz + phone_low_cut_hz * phone_low_cut_hz); }

// Everything about a run that the hypotheses share.
struct Listening {
  CarInState& car;
  const NextRun& run;
  double bend, wheel_rate;

  [[nodiscard]] double turns() const { return std::max(1.0, wheel_rate * run.duration.value()); }
};

// Share of [low, high] that the masks leave, each `wider` orders wider to both sides.
double clear_share(double low, double high, const std::vector<MaskedOrder>& masks, double wider) {
  constexpr double point = 1e-6;
  double covered = 0.0;
  for (const MaskedOrder& mask : masks) {
    const double half = mask.order * mask.relative_half_width + wider;
    const double from = std::max(low, mask.order - half), to = std::min(high, mask.order + half);
    if (to < from) continue;
    if (high - low < point) return 0.0;
    covered += to - from;
  }
  return std::max(0.0, 1.0 - covered / std::max(point, high - low));
}

void add_line(HeardFault& heard, const Family& family, double order, double share) {
  heard.lines.push_back({order * family.geometry_low * (1.0 + family.slip_low),
                         order * family.geometry_high * (1.0 + family.slip_high), share, 1.0});
}

void add_events(HeardFault& heard, const Family& family, double fundamental, Listening& in) {
  const Events events = events_of(family.fault);
  const auto& masks = in.car.healthy(heard.on, events);
  for (const MainLine& line : main_lines(family)) {
    add_line(heard, family, line.harmonic * fundamental, line.presence);
    HeardFault::Line& added = heard.lines.back();
    added.clear = added.high < lowest_order(events).value()
                      ? 0.0
                      : clear_share(added.low, added.high, masks, mask_bins / in.turns());
  }
}

// Pairs of sidebands, as mesh_evidence() looks for them.
void add_mesh(HeardFault& heard, const Family& family, const FamilyOrders& at, const Listening& in) {
  for (int h = 1; h <= mesh_harmonics; ++h)
    for (int side = -mesh_side_orders; side <= mesh_side_orders; ++side) {
      if (side == 0) continue;
      const double order = h * at.fundamental + side * at.modulation;
      add_line(heard, family, order, 1.0);
      const double hz = order * in.wheel_rate;
      heard.lines.back().clear = Hertz(hz) > highest_mesh ? 0.0 : phone_picks_up(hz);
    }
}

// Twice per turn, unless the engine sounds there.
void add_joint(HeardFault& heard, const Family& family, double fundamental, Listening& in) {
  const double twice = family.fault == Fault::worn_joint ? fundamental : 2.0 * fundamental;
  add_line(heard, family, twice, 1.0);
  HeardFault::Line& line = heard.lines.back();
  line.clear = near_known(twice, in.car.engine_orders()) ? 0.0 : phone_picks_up(twice * in.wheel_rate);
}

// Uneven wear: many neighbouring turns of the wheel, about a middle that is not known.
void add_tyre(HeardFault& heard, const Family& family, double fundamental, const Listening& in) {
  for (const double turn : {8.0, 16.0, 24.0, 32.0, 40.0, 48.0}) {
    add_line(heard, family, turn * fundamental, 1.0);
    heard.lines.back().clear = phone_picks_up(turn * fundamental * in.wheel_rate);
  }
}

// A wide search finds something anywhere: what it finds is worth less by the logarithm of its size.
double worth_of_search(const Family& family, double accuracy) {
  const double low = family.geometry_low * (1.0 + family.slip_low),
               high = family.geometry_high * (1.0 + family.slip_high);
  const double places = std::max(1.0, std::log(high / low) / (2.0 * accuracy));
  const double left = full_evidence * full_evidence - 2.0 * std::log(places);
  return std::sqrt(std::max(1.0, left)) / full_evidence;
}

// Makes the shares add up to 1, and puts what is clear of each line in relation to what is of all, which is
// returned.
double weigh_lines(std::vector<HeardFault::Line>& lines) {
  double sum = 0.0, clear = 0.0;
  for (const HeardFault::Line& line : lines) {
    sum += line.share;
    clear += line.share * line.clear;
  }
  if (clear <= 0.0) return 0.0;
  for (HeardFault::Line& line : lines) {
    line.share /= sum;
    line.clear *= sum / clear;
  }
  return clear / sum;
}

HeardFault heard_fault(const Family& family, Listening& in) {
  HeardFault heard;
  const auto at = orders_of(family, in.bend);
  if (!at) return heard;
  heard.kind = kind_of(family.fault);
  heard.on = at->on;
  if (at->on == Reference::wheel && heard.kind != EvidenceKind::tyre_orders)
    heard.fundamental = Hertz(at->fundamental * in.wheel_rate);
  switch (heard.kind) {
    case EvidenceKind::events:
      add_events(heard, family, at->fundamental, in);
      break;
    case EvidenceKind::mesh_sidebands:
      if (family.loaded) add_mesh(heard, family, *at, in);
      break;
    case EvidenceKind::joint_orders:
      if (at->on == Reference::wheel) add_joint(heard, family, at->fundamental, in);
      break;
    case EvidenceKind::tyre_orders:
      add_tyre(heard, family, at->fundamental, in);
      break;
  }
  const double clear = weigh_lines(heard.lines);
  heard.strength = full_evidence * clear *
                   visibility(in.car.car, family, in.car.state, in.run.load, in.run.turn) *
                   worth_of_search(family, heard.accuracy) * std::sqrt(in.run.duration.value() / usual_s);
  return heard;
}

// Share of the places where a line of the true fault may lie at which it falls on the other's.
double overlap(const HeardFault::Line& truth, const HeardFault::Line& other, double accuracy) {
  const double low = other.low * (1.0 - accuracy), high = other.high * (1.0 + accuracy);
  const double from = std::max(truth.low, low), to = std::min(truth.high, high);
  if (to < from) return 0.0;
  const double width = truth.high - truth.low;
  return width < accuracy * truth.low ? 1.0 : std::min(1.0, (to - from) / width);
}

double information(const Outcomes& outcomes, const std::vector<double>& weight,
                   const std::vector<std::size_t>& members) {
  double total = 0.0, drop = 0.0;
  for (const std::size_t i : members) total += weight[i];
  if (total < least_weight) return 0.0;
  for (const std::size_t i : members) {
    double same = 0.0;
    for (const std::size_t k : members) same += weight[k] / total * outcomes.confusable(i, k);
    if (weight[i] > 0.0) drop -= weight[i] / total * std::log(same);
  }
  return std::max(0.0, drop);
}

}  // namespace

CarInState::CarInState(const Car& described, DriveState in) : car(described), state(std::move(in)) {
  auto found = shaft_rates(car, state);
  if (!found) return;
  rates = *std::move(found);
  families = fault_families(car, state, rates);
}

std::vector<double> CarInState::engine_orders() const { return engine_half_orders(rates, half_orders_to); }

const std::vector<MaskedOrder>& CarInState::healthy(Reference on, Events events) {
  auto [at, fresh] = masks_.try_emplace({on, events});
  if (fresh) at->second = healthy_orders(car, state, rates, on, events);
  return at->second;
}

CarInState& Foreseen::in(const DriveState& state) {
  return states_.try_emplace({state.gear, state.clutch}, car_, state).first->second;
}

std::vector<HeardFault> Foreseen::heard_in(const NextRun& run) {
  Listening in{this->in({run.gear, run.clutch}), run, expected_bend(run.turn, run.speed),
               (run.speed / car_.tyre.rolling_circumference).value()};
  const std::vector<Family>& families = in.car.families;
  std::vector<HeardFault> heard(hypotheses_.size());
  for (std::size_t i = 0; i < hypotheses_.size(); ++i) {
    const auto found = std::find_if(families.begin(), families.end(), [&](const Family& f) {
      return f.part == hypotheses_[i].part && f.fault == hypotheses_[i].fault;
    });
    if (found != families.end()) heard[i] = heard_fault(*found, in);
  }
  return heard;
}

double raised(const HeardFault& truth, const HeardFault& suspect) {
  if (truth.kind != suspect.kind || truth.on != suspect.on) return 0.0;
  double sum = 0.0;
  for (const HeardFault::Line& line : suspect.lines) {
    double most = 0.0;
    for (const HeardFault::Line& made : truth.lines)
      most = std::max(most,
                      made.clear * std::min(line.share, made.share) * overlap(made, line, suspect.accuracy));
    sum += most;
  }
  return std::min(1.0, sum);
}

double collision(const std::vector<HeardFault>& heard, std::span<const Hypothesis> hypotheses) {
  double sum = 0.0, total = 0.0;
  for (std::size_t i = 0; i < heard.size(); ++i) {
    const double weight = hypotheses[i].probability.value();
    total += weight;
    double most = 0.0;
    for (std::size_t k = 0; heard[i].strength > 0.0 && k < heard.size(); ++k) {
      if (hypotheses[k].part == hypotheses[i].part || heard[k].strength <= 0.0) continue;
      const double as_loud =
          std::min(heard[i].strength, heard[k].strength) / std::max(heard[i].strength, heard[k].strength);
      const double as_likely = weight > 0.0 ? std::min(1.0, hypotheses[k].probability.value() / weight) : 0.0;
      most = std::max(most,
                      as_likely * as_loud * std::min(raised(heard[i], heard[k]), raised(heard[k], heard[i])));
    }
    sum += weight * most;
  }
  return total > 0.0 ? sum / total : 0.0;
}

Outcomes::Outcomes(const std::vector<HeardFault>& heard) : Outcomes(heard.size()) {
  const std::size_t n = heard.size();
  std::vector<double> evidence(n * n);  // [truth][suspect]
  for (std::size_t i = 0; i < n; ++i)
    for (std::size_t j = 0; heard[i].strength > 0.0 && j < n; ++j)
      evidence[i * n + j] = heard[i].strength * raised(heard[i], heard[j]);
  for (std::size_t i = 0; i < n; ++i)
    for (std::size_t k = 0; k < n; ++k)
      for (std::size_t j = 0; j < n; ++j)
        products_[i * size_ + k] += evidence[i * n + j] * evidence[k * n + j];
}

Outcomes& Outcomes::operator+=(const Outcomes& other) {
  for (std::size_t i = 0; i < products_.size(); ++i) products_[i] += other.products_[i];
  return *this;
}

double Outcomes::confusable(std::size_t i, std::size_t k) const {
  if (i == k) return 1.0;
  const auto apart = [&](std::size_t a, std::size_t b) {
    const double square = product(b, b);
    const double scale = square > 0.0 ? std::clamp(product(a, b) / square, quietest, loudest) : 1.0;
    return std::max(0.0, product(a, a) - 2.0 * scale * product(a, b) + scale * scale * square);
  };
  return std::exp(-std::min(apart(i, k), apart(k, i)) / 8.0);
}

std::vector<double> weights_of(std::span<const Hypothesis> hypotheses) {
  std::vector<double> weight;
  double rest = 1.0;
  for (const Hypothesis& hypothesis : hypotheses) {
    weight.push_back(hypothesis.probability.value());
    rest -= weight.back();
  }
  weight.push_back(std::max(rest, least_weight));
  return weight;
}

double entropy_drop(const Outcomes& outcomes, std::span<const Hypothesis> hypotheses) {
  const std::vector<double> weight = weights_of(hypotheses);
  std::map<std::string_view, std::vector<std::size_t>> of_part;
  std::vector<std::size_t> all;
  for (std::size_t i = 0; i < hypotheses.size(); ++i) {
    of_part[hypotheses[i].part].push_back(i);
    all.push_back(i);
  }
  all.push_back(outcomes.no_fault());
  double drop = information(outcomes, weight, all);
  for (const auto& [part, members] : of_part) {
    double share = 0.0;
    for (const std::size_t i : members) share += weight[i];
    drop -= share * information(outcomes, weight, members);
  }
  return std::max(0.0, drop);
}

}  // namespace gearhark
