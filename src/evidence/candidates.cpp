#include "gearhark/evidence/candidates.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <optional>
#include <tuple>
#include <utility>

#include "gearhark/signal/parallel.hpp"

namespace gearhark {
namespace {

constexpr Hertz highest_mesh{6500.0};

// One fault of one part with its family in every run where it turns.
struct Track {
  std::vector<const Family*> family;  // per run; nullptr: not there
};

// Part, fault, which of several families (driving, driven gear), healthy.
using Key = std::tuple<std::string, Fault, int, bool>;

std::vector<std::pair<Key, Track>> follow_through_runs(const std::vector<HeardRun>& runs) {
  std::vector<std::pair<Key, Track>> tracks;
  std::map<Key, std::size_t> where;
  for (std::size_t r = 0; r < runs.size(); ++r) {
    std::map<std::pair<std::string, Fault>, int> seen;
    const auto add = [&](const Family& family, bool healthy) {
      const Key key{family.part, family.fault, seen[{family.part, family.fault}]++, healthy};
      const auto [at, fresh] = where.try_emplace(key, tracks.size());
      if (fresh) tracks.push_back({key, Track{std::vector<const Family*>(runs.size(), nullptr)}});
      tracks[at->second].second.family[r] = &family;
    };
    for (const Family& family : runs[r].families) add(family, false);
    for (const Family& family : runs[r].healthy) add(family, true);
    add(runs[r].unlisted, false);
  }
  return tracks;
}

// What a fault would explain in each run, were it there at its most likely slip. Where it should be much
// fainter than in its loudest run it explains nothing.
using ExplainedRuns = std::vector<std::vector<ExplainedOrders>>;

ExplainedRuns explained_in(const Candidate& candidate, const Track& track,
                           const std::vector<HeardRun>& runs) {
  constexpr double faint = 0.15;
  const double loudest = *std::max_element(candidate.visibility.begin(), candidate.visibility.end());
  ExplainedRuns explained(runs.size());
  for (std::size_t r = 0; r < runs.size(); ++r) {
    if (!track.family[r] || candidate.visibility[r] < faint * loudest) continue;
    if (const auto place = place_of(*track.family[r], runs[r]))
      explained[r] =
          explained_by(*track.family[r], place->fundamental, candidate.modulation[r], candidate.slip);
  }
  return explained;
}

std::vector<EventEvidence> heard_of(const Candidate& candidate, const Track& track,
                                    const std::vector<HeardRun>& runs, const ExplainedRuns* explained) {
  std::vector<EventEvidence> heard;
  for (std::size_t r = 0; r < runs.size(); ++r) {
    if (!track.family[r]) continue;
    const auto place = place_of(*track.family[r], runs[r]);
    if (!place) continue;
    CombLimits limits;
    if (explained) limits = {(*explained)[r], candidate.slip};
    EventEvidence evidence = event_evidence(spectra_for(*place->spectra, candidate.fault), *track.family[r],
                                            place->fundamental, candidate.modulation[r], limits);
    evidence.visibility = candidate.visibility[r];
    heard.push_back(std::move(evidence));
  }
  return heard;
}

// Beyond a dozen nats model error rules, not noise: a tail like a logarithm keeps one comb from outshouting
// all else.
constexpr double trusted = 12.0;  // nats
double tempered(double log_factor) {
  constexpr double scale = 4.0;
  return log_factor <= trusted ? log_factor : trusted + scale * std::log1p((log_factor - trusted) / scale);
}

// What the runs say that should have shown the fault beside the others and do not, nats, 0 or less.
double said_against(std::vector<EventEvidence>& heard, double all) {
  double against = 0.0;
  for (std::size_t r = 0; r < heard.size() && heard.size() > 1; ++r) {
    const double visibility = std::exchange(heard[r].visibility, 0.0);  // left out
    against += std::min(0.0, all - combine(heard).log_bayes_factor);
    heard[r].visibility = visibility;
  }
  return against;
}

void judge_events(Candidate& candidate, const Track& track, const std::vector<HeardRun>& runs) {
  std::vector<EventEvidence> heard = heard_of(candidate, track, runs, nullptr);
  const CombinedEvents all = combine(heard);
  candidate.against = all.log_bayes_factor > trusted ? said_against(heard, all.log_bayes_factor) : 0.0;
  candidate.log_factor = candidate.alone = all.log_bayes_factor - candidate.against;
  candidate.slip = all.best_slip;
  candidate.strength = all.best_strength;
  candidate.group = all.best_group;
  for (const HeardRun& run : runs)
    if (all.best_group < run.wheel.slipping.groups.size()) {
      candidate.band_low = run.wheel.slipping.groups[all.best_group].low;
      candidate.band_high = run.wheel.slipping.groups[all.best_group].high;
    }
}

// What is seen of a comb in each run in which the part turns.
std::vector<std::vector<CombSeen>> seen_in(const Candidate& candidate, const Track& track,
                                           const std::vector<HeardRun>& runs) {
  std::vector<std::vector<CombSeen>> seen;
  for (std::size_t r = 0; r < runs.size(); ++r)
    if (const auto place = track.family[r] ? place_of(*track.family[r], runs[r]) : std::nullopt)
      seen.push_back(comb_seen(spectra_for(*place->spectra, candidate.fault), *track.family[r],
                               place->fundamental, candidate.modulation[r], candidate.slip, candidate.group));
  return seen;
}

double excess_of(Decibels above_background) { return std::max(0.0, above_background.power_ratio() - 1.0); }

struct MeanExcess {
  double sum = 0.0;
  int lines = 0;
  void add(Decibels above_background) {
    sum += excess_of(above_background);
    ++lines;
  }
  [[nodiscard]] double mean() const { return lines > 0 ? sum / lines : 0.0; }
};

// By turn of a joint's shaft what stands above the background there, dB; the even turns are the joint's own.
struct Turns {
  std::map<long, double> even, odd;
};

Turns turns_of(const std::vector<CombSeen>& lines) {
  Turns turns;
  for (const CombSeen& line : lines) {
    const long turn = std::lround(2.0 * line.harmonic) + line.side;
    (line.side == 0 ? turns.even : turns.odd)[turn] = line.above_background.value();
  }
  return turns;
}

// What a line at an odd turn would have that falls off as the even ones do about it, as far as these are
// seen.
std::optional<double> between(const std::map<long, double>& even, long odd) {
  const auto above = even.upper_bound(odd);
  if (above == even.begin() || above == even.end()) return {};
  const auto below = std::prev(above);
  return std::lerp(
      below->second, above->second,
      static_cast<double>(odd - below->first) / static_cast<double>(above->first - below->first));
}

// Whether the odd turns of a joint's shaft show nearly as much as lines between the even ones would. Then
// something comes once per turn, and the joint can't be what makes them. Left out is the first turn, at which
// any shaft lets the gears swell and fade.
bool odd_turns_stand_by_themselves(const Candidate& candidate, const Track& track,
                                   const std::vector<HeardRun>& runs) {
  // Of the power: as if the weaker knock of a turn had a quarter of the stronger.
  constexpr double nearly = 0.4;
  double shown = 0.0, expected = 0.0;
  for (const auto& lines : seen_in(candidate, track, runs)) {
    const Turns turns = turns_of(lines);
    for (const auto& [turn, db] : turns.odd)
      if (const auto there = turn > 1 ? between(turns.even, turn) : std::nullopt) {
        shown += excess_of(Decibels::already(db));
        expected += excess_of(Decibels::already(*there));
      }
  }
  return shown > nearly * expected;
}

void judge_joint_events(Candidate& candidate, const Track& track, const std::vector<HeardRun>& runs) {
  judge_events(candidate, track, runs);
  if (!odd_turns_stand_by_themselves(candidate, track, runs)) return;
  candidate.modulation.assign(runs.size(), 0.0);
  judge_events(candidate, track, runs);
}

// Every second or third turn's lines.
ExplainedRuns every(int nth, const Candidate& candidate) {
  constexpr int turns = 12;
  constexpr double half_width = 0.002;
  ExplainedRuns lines(candidate.fundamental.size());
  for (std::size_t r = 0; r < lines.size(); ++r)
    for (int turn = nth; turn <= turns; turn += nth) {
      const double order = turn * candidate.fundamental[r];
      lines[r].push_back({order * (1.0 - half_width), order * (1.0 + half_width)});
    }
  return lines;
}

// A tick once per turn sounds at any multiple of the turns. What shows at every second or third alone comes
// twice or three times per turn: a bearing whose rate happens to lie there.
void judge_knock(Candidate& candidate, const Track& track, const std::vector<HeardRun>& runs) {
  judge_events(candidate, track, runs);
  constexpr double lines_alike = 2.0,
                   by_chance = 2.5;  // the others carry at least half of what is beyond chance
  for (const int nth : {2, 3}) {
    if (candidate.log_factor <= by_chance) return;
    const ExplainedRuns of_nth = every(nth, candidate);
    const double others = combine(heard_of(candidate, track, runs, &of_nth)).log_bayes_factor;
    candidate.log_factor = candidate.alone =
        std::min(candidate.log_factor, lines_alike * std::max(0.0, others) + by_chance);
  }
}

// Sidebands of a loaded pair in a run, dB; nothing where it carries none or can't be looked at.
std::optional<double> sidebands_of(const Family& family, const HeardRun& run) {
  const auto place = family.loaded ? place_of(family, run) : std::nullopt;
  if (!place || place->modulation <= 0.0) return {};
  const auto mesh = mesh_evidence(place->spectra->tones, place->fundamental, place->modulation, highest_mesh);
  if (!mesh) return {};
  return mesh->sidebands.value();
}

// The most that any other pair shows there.
double sidebands_of_others(const Family& family, const HeardRun& run) {
  constexpr double same_mesh = 1e-3;
  double most = 0.0;
  for (const Family& other : run.families)
    if (other.fault == Fault::worn_teeth && other.part != family.part &&
        std::abs(other.base.wheel - family.base.wheel) > same_mesh * std::abs(family.base.wheel))
      most = std::max(most, sidebands_of(other, run).value_or(0.0));
  return most;
}

// The best loaded run counts: wear that shows in one gear or on one flank is wear. Where another pair shows
// more than sound ones do, all gears are near the phone, and of two pairs both are hardly ever worn.
void judge_mesh(Candidate& candidate, const Track& track, const std::vector<HeardRun>& runs) {
  constexpr double usual = 6.0;  // dB
  for (std::size_t r = 0; r < runs.size(); ++r) {
    if (!track.family[r]) continue;
    const auto own = sidebands_of(*track.family[r], runs[r]);
    if (!own || *own <= candidate.level) continue;
    const double others = std::min(*own, sidebands_of_others(*track.family[r], runs[r]));
    candidate.level = std::max(candidate.level, *own - std::max(0.0, others - usual));
  }
}

// Orders other than the wheel's own that sound in this run, per wheel turn.
std::vector<double> known_orders(const Car& car, const HeardRun& run) {
  std::vector<double> known;
  for (const Line& line : predicted_lines(car, run.state, run.rates)) {
    const bool wheel = line.kind == LineKind::wheel_turn || line.kind == LineKind::tread ||
                       line.kind == LineKind::cage || line.kind == LineKind::outer_race ||
                       line.kind == LineKind::inner_race || line.kind == LineKind::rolling_element;
    if (!wheel && line.rate.road_bound()) known.push_back(std::abs(line.rate.wheel));
  }
  const std::vector<double> engine = engine_half_orders(run.rates, 30.0);
  known.insert(known.end(), engine.begin(), engine.end());
  return known;
}

// In a bend every wheel turns at a rate of its own; such runs say something only where there are no others.
void judge_tyre(Candidate& candidate, const Car& car, const std::vector<HeardRun>& runs) {
  const bool all =
      std::none_of(runs.begin(), runs.end(), [](const HeardRun& run) { return run.turn == Turn::straight; });
  std::vector<TyreRun> looked_at;
  for (const HeardRun& run : runs)
    if (all || run.turn == Turn::straight) looked_at.push_back({&run.wheel.tones, known_orders(car, run)});
  const TyreEvidence tyre = tyre_evidence(looked_at);
  candidate.level = tyre.log_factor;
  candidate.slip = tyre.slip;
  candidate.fundamental.assign(runs.size(), tyre.centre);
}

void judge_joint(Candidate& candidate, const Track& track, const std::vector<HeardRun>& runs) {
  for (std::size_t r = 0; r < runs.size(); ++r) {
    if (!track.family[r]) continue;
    const auto place = place_of(*track.family[r], runs[r]);
    if (!place || place->engine_bound) continue;
    const std::vector<double> known = engine_half_orders(runs[r].rates, half_orders_to);
    const double shaft = candidate.fault == Fault::worn_joint ? place->fundamental / 2.0 : place->fundamental;
    if (const auto joint = joint_evidence(place->spectra->tones, shaft, known))
      candidate.level = std::max(candidate.level, joint->twice.value());
  }
}

// Combs share lines: 3 x an outer race may be 2 x an inner one, and a dense comb finds something anywhere.
class Rivalry {
 public:
  static constexpr double missing_lines = 0.55;  // worth of a difference in factors, which lines missing make
  static constexpr double nothing_left = 2.0;    // nats
  static constexpr double evenly = 5.0;          // nats that lines all alike say for a tick

  Rivalry(std::vector<Candidate>& candidates, const std::vector<Track>& tracks,
          const std::vector<HeardRun>& runs)
      : candidates_(candidates), tracks_(tracks), runs_(runs), explained_(candidates.size()) {}

  // Events with evidence, the strongest first.
  [[nodiscard]] std::vector<std::size_t> strong(bool healthy) const {
    constexpr double worth_it = 2.0;  // nats
    std::vector<std::size_t> found;
    for (std::size_t i = 0; i < candidates_.size(); ++i)
      if (candidates_[i].kind == EvidenceKind::events && candidates_[i].healthy == healthy &&
          candidates_[i].log_factor > worth_it)
        found.push_back(i);
    std::sort(found.begin(), found.end(), [&](std::size_t a, std::size_t b) {
      return candidates_[a].log_factor > candidates_[b].log_factor;
    });
    return found;
  }

  // What is left of one's evidence, at the slip it was found, when the lines that `other` explains are not
  // counted: one that may lie anywhere must not go and look for other lines.
  double left(std::size_t one, std::size_t other) {
    ExplainedRuns& by_other = explained_[other];
    if (by_other.empty()) by_other = explained_in(candidates_[other], tracks_[other], runs_);
    return combine(heard_of(candidates_[one], tracks_[one], runs_, &by_other)).log_bayes_factor;
  }

  // Whether two parts' faults were found at the same lines in every run in which both turn: what either keeps
  // beside the other is then chance.
  [[nodiscard]] static bool same_comb(const Candidate& one, const Candidate& other) {
    constexpr double fundamentals = 0.0025, modulations = 0.01;  // relative
    if (one.fault != other.fault) return false;
    const auto near = [](double a, double b, double within) {
      return std::abs(a - b) <= within * std::max(std::abs(a), std::abs(b));
    };
    bool together = false;
    for (std::size_t r = 0; r < one.fundamental.size(); ++r) {
      if (one.fundamental[r] <= 0.0 || other.fundamental[r] <= 0.0) continue;
      together = true;
      if (!near(one.fundamental[r] * (1.0 + one.slip), other.fundamental[r] * (1.0 + other.slip),
                fundamentals) ||
          !near(one.modulation[r], other.modulation[r], modulations))
        return false;
    }
    return together;
  }

  // By how much `one` is the better single explanation of what both explain, nats (model error included): the
  // real one keeps lines that the shadow can't explain, and has fewer lines missing. Where neither keeps any,
  // they are one comb; one that was looked for in one place then goes before one of which nothing is known,
  // as that was looked for wherever there are lines, unless it is much the worse.
  double better(std::size_t one, std::size_t other) {
    const double fewer_missing =
        missing_lines * (candidates_[one].log_factor - candidates_[other].log_factor);
    if (same_comb(candidates_[one], candidates_[other])) return fewer_missing;
    const double one_left = std::max(0.0, left(one, other)), other_left = std::max(0.0, left(other, one));
    if (ticks_by_itself(one, one_left, other_left)) return one_left;
    if (ticks_by_itself(other, other_left, one_left)) return -other_left;
    if (ticks_as_well_between(one, other)) return evenly;
    if (ticks_as_well_between(other, one)) return -evenly;
    if (one_left < nothing_left && other_left < nothing_left) {
      if (searched_less(one, other)) return std::max(fewer_missing, nothing_left);
      if (searched_less(other, one)) return std::min(fewer_missing, -nothing_left);
    }
    return one_left - other_left + fewer_missing;
  }

 private:
  // A tick once per turn has lines at every multiple of the turns. A bearing whose rate lies there has some
  // of them, and more of them to look for than a tick; but turns that it can't make it lacks.
  [[nodiscard]] bool ticks_by_itself(std::size_t tick, double left, double other_left) const {
    constexpr double turns_of_its_own = 8.0;  // nats
    return candidates_[tick].fault == Fault::chipped_tooth && left >= turns_of_its_own &&
           other_left < nothing_left;
  }
  // How many strikes a turn of the tick's shaft the bearing's are, where they are a whole number in every run
  // in which both turn, and swell with that shaft's turns; else 0.
  [[nodiscard]] int whole_strikes(const Candidate& tick, const Candidate& bearing) const {
    // Its lines are smeared, so a tick's are taken for them from some way off.
    constexpr double whole = 0.0025, same_turns = 1e-3;
    int strikes = 0;
    for (std::size_t r = 0; r < runs_.size(); ++r) {
      const double turn = tick.fundamental[r], rate = bearing.fundamental[r] * (1.0 + bearing.slip);
      if (turn <= 0.0 || rate <= 0.0) continue;
      const double nearest = std::round(rate / turn);
      if (nearest < 3.0 || std::abs(rate / turn / nearest - 1.0) > whole ||
          std::abs(bearing.modulation[r] / turn - 1.0) > same_turns)
        return 0;
      strikes = static_cast<int>(nearest);
    }
    return strikes;
  }
  // A race that strikes a whole number of times per turn has a tick's lines, but louder at its own than
  // between them. A tick's are all about alike.
  [[nodiscard]] bool ticks_as_well_between(std::size_t tick, std::size_t bearing) const {
    if (candidates_[tick].fault != Fault::chipped_tooth) return false;
    const int strikes = whole_strikes(candidates_[tick], candidates_[bearing]);
    if (strikes == 0) return false;
    MeanExcess at_strikes, beside;
    for (const auto& lines : seen_in(candidates_[tick], tracks_[tick], runs_))
      for (const CombSeen& line : lines)
        (std::lround(line.harmonic) % strikes == 0 ? at_strikes : beside).add(line.above_background);
    return at_strikes.lines > 0 && beside.lines > 0 && beside.mean() > 0.5 * at_strikes.mean();
  }
  // One that was looked for in one place, beside one of which nothing is known, and not much the worse: a
  // tick never is, since of its lines each counts for less.
  [[nodiscard]] bool searched_less(std::size_t one, std::size_t other) const {
    constexpr double much_worse = 0.6;
    const Candidate &known = candidates_[one], &unknown = candidates_[other];
    return known.knowledge < unknown.knowledge && unknown.knowledge == Knowledge::nothing &&
           (known.fault == Fault::chipped_tooth || known.log_factor > much_worse * unknown.log_factor);
  }

  std::vector<Candidate>& candidates_;
  const std::vector<Track>& tracks_;
  const std::vector<HeardRun>& runs_;
  std::vector<ExplainedRuns> explained_;  // by candidate, filled when asked for
};

// A worn machine sounds at its turns, as a sound one does, but loud: of 40 sound ones synthesised all but a
// few stayed below nothing; real ones may hum more (judged).
void allow_for_turning(std::vector<Candidate>& candidates) {
  constexpr double usual = 8.0;  // nats
  for (Candidate& candidate : candidates)
    if (candidate.fault == Fault::worn_machine && candidate.log_factor > 0.0)
      candidate.log_factor = std::max(0.0, candidate.log_factor - usual);
}

bool turns_with(const Candidate& worn, const Candidate& machine) {
  constexpr double belts_alike = 1e-3;
  if (worn.fault != Fault::worn_machine) return false;
  for (std::size_t r = 0; r < worn.fundamental.size(); ++r)
    if (std::abs(worn.fundamental[r] - machine.fundamental[r]) > belts_alike * machine.fundamental[r])
      return false;
  return true;
}

// Healthy machines are asked first, with the benefit of the doubt; the more so one that is heard at lines
// which the suspect can't explain.
void let_machines_explain(std::vector<Candidate>& candidates, Rivalry& rivalry) {
  constexpr double for_health = 3.0;  // nats in favour of the healthy explanation
  constexpr double proven = 20.0;     // nats
  for (const std::size_t machine : rivalry.strong(true))
    for (const std::size_t suspect : rivalry.strong(false)) {
      if (turns_with(candidates[suspect], candidates[machine])) continue;
      const double suspect_left = rivalry.left(suspect, machine);
      const double machine_first = candidates[machine].log_factor + std::max(0.0, suspect_left) + for_health;
      const double machine_left = std::max(0.0, rivalry.left(machine, suspect));
      const double suspect_first = candidates[suspect].log_factor + machine_left;
      const bool louder = candidates[machine].log_factor > candidates[suspect].log_factor;
      if (machine_first > suspect_first || (louder && machine_left > proven))
        candidates[suspect].log_factor = std::min(candidates[suspect].log_factor, suspect_left);
    }
}

// One fault is likelier than two.
double as_second(double left, double cause) { return std::max(std::min(left, 0.0), left - 0.5 * cause); }

// Then one suspect is taken for the cause. Any other stands either as the cause in its place, as far as it is
// not the worse explanation, or as a second fault by what is left of it.
std::optional<std::size_t> let_suspects_explain(std::vector<Candidate>& candidates, Rivalry& rivalry) {
  constexpr std::size_t contenders = 8;
  std::vector<std::size_t> suspects = rivalry.strong(false);
  std::erase_if(suspects, [&](std::size_t i) { return candidates[i].unlisted(); });
  if (suspects.empty()) return {};
  std::size_t winner = suspects.front();
  for (std::size_t i = 1; i < std::min(contenders, suspects.size()); ++i)
    if (rivalry.better(suspects[i], winner) > 0.0) winner = suspects[i];
  const double cause = tempered(candidates[winner].log_factor);
  std::vector<double> judged(candidates.size(), cause);
  for (const std::size_t i : suspects) {
    if (i == winner) continue;
    const double own = candidates[i].log_factor;
    const double in_its_place =
        std::min(tempered(candidates[i].log_factor), cause - std::max(0.0, rivalry.better(winner, i)));
    const double second = as_second(tempered(std::min(own, rivalry.left(i, winner))), cause);
    judged[i] = std::max(second, in_its_place);
    if (in_its_place >= second) candidates[i].behind = cause - in_its_place;
  }
  for (const std::size_t i : suspects) candidates[i].log_factor = judged[i];
  return winner;
}

// A comb that may lie anywhere finds some lines wherever there are any, so it has to be clearly the better
// explanation; then it takes from all suspects.
void let_unlisted_explain(std::vector<Candidate>& candidates, Rivalry& rivalry,
                          std::optional<std::size_t> winner) {
  constexpr double clearly = 6.0;        // nats
  constexpr double missing_lines = 0.5;  // it is free to miss none
  const Candidate* found = unlisted_of(candidates);
  if (!found) return;
  const auto at = static_cast<std::size_t>(found - candidates.data());
  Candidate& unlisted = candidates[at];
  const double own = tempered(unlisted.log_factor);
  if (!winner || own <= 0.0) {
    unlisted.log_factor = own;
    return;
  }
  const double cause = candidates[*winner].log_factor;
  const double left = rivalry.left(at, *winner);
  const double advantage = left < Rivalry::nothing_left
                               ? -clearly
                               : missing_lines * (unlisted.log_factor - candidates[*winner].alone) - clearly;
  unlisted.log_factor = std::max(as_second(tempered(left), cause), std::min(own, cause + advantage));
  for (Candidate& candidate : candidates)
    if (advantage > 0.0 && !candidate.unlisted() && !candidate.healthy)
      candidate.log_factor = std::min(candidate.log_factor, std::max(0.0, candidate.log_factor - advantage));
}

// A tooth of the crown wheel knocks once per turn of the wheels, where a tyre thumps; but a knock rings up to
// where no tyre does: of 21 uneven ones synthesised none made a knock of 4 nats.
void let_knock_explain_tyres(std::vector<Candidate>& candidates, std::optional<std::size_t> winner) {
  constexpr double rings = 10.0, tyres_apart = 0.006;  // nats; turns
  if (!winner || candidates[*winner].fault != Fault::chipped_tooth || candidates[*winner].log_factor < rings)
    return;
  const auto with_wheels = [&](double turn) { return turn == 0.0 || std::abs(turn - 1.0) <= tyres_apart; };
  const auto& turns = candidates[*winner].fundamental;
  if (!std::all_of(turns.begin(), turns.end(), with_wheels)) return;
  for (Candidate& candidate : candidates)
    if (candidate.fault == Fault::uneven_wear) candidate.level = std::min(candidate.level, 0.0);
}

void explain_away(std::vector<Candidate>& candidates, const std::vector<Track>& tracks,
                  const std::vector<HeardRun>& runs) {
  allow_for_turning(candidates);
  Rivalry rivalry(candidates, tracks, runs);
  let_machines_explain(candidates, rivalry);
  const auto winner = let_suspects_explain(candidates, rivalry);
  let_unlisted_explain(candidates, rivalry, winner);
  let_knock_explain_tyres(candidates, winner);
}

// Where the fault is looked for in each run, not yet whether it is there.
Candidate candidate_at(const Car& car, const Key& key, const Track& track,
                       const std::vector<HeardRun>& runs) {
  Candidate candidate;
  std::tie(candidate.part, candidate.fault, std::ignore, candidate.healthy) = key;
  candidate.kind = candidate.healthy ? EvidenceKind::events : kind_of(candidate.fault);
  candidate.fundamental.assign(runs.size(), 0.0);
  candidate.modulation.assign(runs.size(), 0.0);
  candidate.visibility.assign(runs.size(), 0.0);
  for (std::size_t r = 0; r < runs.size(); ++r) {
    if (!track.family[r]) continue;
    candidate.knowledge = track.family[r]->knowledge;
    candidate.visibility[r] =
        candidate.healthy || candidate.unlisted()
            ? 1.0
            : visibility(car, *track.family[r], runs[r].state, runs[r].load, runs[r].turn);
    if (const auto place = place_of(*track.family[r], runs[r])) {
      candidate.fundamental[r] = place->fundamental;
      candidate.modulation[r] = place->modulation;
      candidate.turned = true;
    }
  }
  return candidate;
}

// Whether two parts make the same lines and show them alike, as left and right of an axle do on a straight
// road: what is found of one is found of the other.
bool are_twins(const Candidate& one, const Track& track, const Candidate& other, const Track& other_track) {
  const auto rates = [](const Family& f) {
    return std::array{f.base.wheel,       f.base.engine,      f.ring_rate.wheel,
                      f.ring_rate.engine, f.modulation.wheel, f.modulation.engine};
  };
  const auto range = [](const Family& f) {
    return std::tuple(f.slip_low, f.slip_high, f.geometry_low, f.geometry_high, f.knowledge, f.elements);
  };
  if (one.kind != EvidenceKind::events || one.fault != other.fault || one.healthy != other.healthy ||
      one.unlisted() || other.unlisted() || one.fundamental != other.fundamental ||
      one.modulation != other.modulation || one.visibility != other.visibility)
    return false;
  for (std::size_t r = 0; r < track.family.size(); ++r) {
    const Family *a = track.family[r], *b = other_track.family[r];
    if (!a != !b || (a && (rates(*a) != rates(*b) || range(*a) != range(*b)))) return false;
  }
  return true;
}

Candidate as_part(Candidate candidate, const std::string& part) {
  candidate.part = part;
  return candidate;
}

void judge(Candidate& candidate, const Car& car, const Track& track, const std::vector<HeardRun>& runs) {
  switch (candidate.kind) {
    case EvidenceKind::events:
      if (candidate.fault == Fault::dry_joint)
        judge_joint_events(candidate, track, runs);
      else if (candidate.fault == Fault::chipped_tooth)
        judge_knock(candidate, track, runs);
      else
        judge_events(candidate, track, runs);
      break;
    case EvidenceKind::mesh_sidebands:
      judge_mesh(candidate, track, runs);
      break;
    case EvidenceKind::tyre_orders:
      judge_tyre(candidate, car, runs);
      break;
    case EvidenceKind::joint_orders:
      judge_joint(candidate, track, runs);
      break;
  }
}

SeenLine tone_line(const OrderSpectrum& tones, std::size_t run, double harmonic, int side, double order) {
  const auto [over, chance] = tones.strength(order, tones.usual_half_width(order));
  return {run,
          harmonic,
          side,
          Order(order),
          false,
          Hertz(order * tones.mean_rate),
          Decibels::of_power_ratio(over),
          chance};
}

// The mesh and its first sidebands in the runs where the pair carries load.
void show_mesh(Candidate& candidate, const std::vector<HeardRun>& runs) {
  for (std::size_t r = 0; r < runs.size(); ++r) {
    if (candidate.fundamental[r] <= 0.0 || candidate.modulation[r] <= 0.0) continue;
    for (int h = 1; h <= 3; ++h)
      for (const int side : {0, -1, 1}) {
        const double order = h * candidate.fundamental[r] + side * candidate.modulation[r];
        candidate.lines.push_back(tone_line(runs[r].wheel.tones, r, h, side, order));
      }
  }
}

// The multiples of the tyre's turns about the middle of where it is loudest.
void show_tyre(Candidate& candidate, const std::vector<HeardRun>& runs) {
  for (std::size_t r = 0; r < runs.size(); ++r)
    for (int beside = -2; beside <= 2; ++beside) {
      const double multiple = candidate.fundamental[r] + beside;
      if (multiple >= 1.0)
        candidate.lines.push_back(
            tone_line(runs[r].wheel.tones, r, multiple, 0, multiple * (1.0 + candidate.slip)));
    }
}

}  // namespace

EvidenceKind kind_of(Fault fault) {
  switch (fault) {
    case Fault::worn_teeth:
      return EvidenceKind::mesh_sidebands;
    case Fault::uneven_wear:
      return EvidenceKind::tyre_orders;
    case Fault::worn_joint:
    case Fault::out_of_balance:
      return EvidenceKind::joint_orders;
    default:
      return EvidenceKind::events;
  }
}

Events events_of(Fault fault) {
  return fault == Fault::chipped_tooth || fault == Fault::dry_joint ? Events::locked : Events::slipping;
}

std::vector<Candidate> gather_part(const Car& car, const std::string& part, const std::vector<HeardRun>& runs,
                                   std::optional<Fault> fault) {
  std::vector<Candidate> candidates;
  for (const auto& [key, track] : follow_through_runs(runs)) {
    const auto& [of, its_fault, number, healthy] = key;
    if (of == part && !healthy && (!fault || its_fault == *fault))
      judge(candidates.emplace_back(candidate_at(car, key, track, runs)), car, track, runs);
  }
  allow_for_turning(candidates);
  for (Candidate& candidate : candidates) candidate.log_factor = tempered(candidate.log_factor);
  return candidates;
}

const Candidate* unlisted_of(const std::vector<Candidate>& candidates) {
  const auto at =
      std::find_if(candidates.begin(), candidates.end(), [](const Candidate& c) { return c.unlisted(); });
  return at == candidates.end() ? nullptr : &*at;
}

std::vector<Candidate> gather(const Car& car, const std::vector<HeardRun>& runs) {
  const auto followed = follow_through_runs(runs);
  std::vector<Candidate> candidates;
  for (const auto& [key, track] : followed) candidates.push_back(candidate_at(car, key, track, runs));
  std::vector<std::size_t> like;  // by candidate: the first of its twins
  for (std::size_t i = 0; i < candidates.size(); ++i) {
    std::size_t first = 0;
    while (first < i && (like[first] != first || !are_twins(candidates[i], followed[i].second,
                                                            candidates[first], followed[first].second)))
      ++first;
    like.push_back(first);
  }
  for_each_in_parallel(candidates.size(), [&](std::size_t i) {
    if (like[i] == i) judge(candidates[i], car, followed[i].second, runs);
  });
  for (std::size_t i = 0; i < candidates.size(); ++i)
    if (like[i] != i) candidates[i] = as_part(candidates[like[i]], candidates[i].part);
  std::vector<Track> tracks;
  for (const auto& [key, track] : followed) tracks.push_back(track);
  explain_away(candidates, tracks, runs);
  return candidates;
}

const EnvelopeSpectra& spectra_for(const OnShaft& spectra, Fault fault) {
  return events_of(fault) == Events::locked ? spectra.locked : spectra.slipping;
}

std::optional<Followed> followed_in(const Candidate& candidate, const HeardRun& run, std::size_t r) {
  for (const Family& family : run.families) {
    if (family.part != candidate.part || family.fault != candidate.fault) continue;
    const auto place = place_of(family, run);
    if (place && std::abs(place->fundamental - candidate.fundamental[r]) <= 1e-6 * candidate.fundamental[r])
      return Followed{&family, *place};
  }
  return std::nullopt;
}

void show_lines(Candidate& candidate, const std::vector<HeardRun>& runs) {
  candidate.lines.clear();
  if (candidate.kind == EvidenceKind::mesh_sidebands) return show_mesh(candidate, runs);
  if (candidate.kind == EvidenceKind::tyre_orders) return show_tyre(candidate, runs);
  if (candidate.kind != EvidenceKind::events) return;
  for (std::size_t r = 0; r < runs.size(); ++r) {
    const auto followed = followed_in(candidate, runs[r], r);
    if (!followed) continue;
    const Place& place = followed->place;
    for (const CombSeen& seen :
         comb_seen(spectra_for(*place.spectra, candidate.fault), *followed->family, place.fundamental,
                   candidate.modulation[r], candidate.slip, candidate.group))
      candidate.lines.push_back({r, seen.harmonic, seen.side, Order(seen.order), place.engine_bound,
                                 Order(seen.order) * place.reference_rate, seen.above_background,
                                 seen.chance});
  }
}

}  // namespace gearhark
