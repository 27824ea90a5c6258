#include "gearhark/evidence/candidates.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

#include "gearhark/signal/parallel.hpp"

namespace gearhark {
namespace {

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
  }
  return tracks;
}

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

const EnvelopeSpectra& spectra_for(const Place& place, Fault fault) {
  const bool locked = fault == Fault::chipped_tooth || fault == Fault::dry_joint;
  return locked ? place.spectra->locked : place.spectra->slipping;
}

// What a fault would explain in each run, were it there at its most likely slip.
using ExplainedRuns = std::vector<std::vector<ExplainedOrders>>;

ExplainedRuns explained_in(const Candidate& candidate, const Track& track,
                           const std::vector<HeardRun>& runs) {
  ExplainedRuns explained(runs.size());
  for (std::size_t r = 0; r < runs.size(); ++r) {
    if (!track.family[r]) continue;
    if (const auto place = place_of(*track.family[r], runs[r]))
      explained[r] = explained_by(*track.family[r], place->fundamental, place->modulation, candidate.slip);
  }
  return explained;
}

CombinedEvents listen_for(const Candidate& candidate, const Track& track, const std::vector<HeardRun>& runs,
                          const ExplainedRuns* explained) {
  std::vector<EventEvidence> heard;
  for (std::size_t r = 0; r < runs.size(); ++r) {
    if (!track.family[r]) continue;
    const auto place = place_of(*track.family[r], runs[r]);
    if (!place) continue;
    std::span<const ExplainedOrders> others;
    if (explained) others = (*explained)[r];
    EventEvidence evidence = event_evidence(spectra_for(*place, candidate.fault), *track.family[r],
                                            place->fundamental, place->modulation, others);
    evidence.visibility = candidate.visibility[r];
    heard.push_back(std::move(evidence));
  }
  return combine(heard);
}

void judge_events(Candidate& candidate, const Track& track, const std::vector<HeardRun>& runs) {
  const CombinedEvents all = listen_for(candidate, track, runs, nullptr);
  candidate.log_factor = all.log_bayes_factor;
  candidate.slip = all.best_slip;
  candidate.strength = all.best_strength;
  candidate.group = all.best_group;
  for (const HeardRun& run : runs)
    if (all.best_group < run.wheel.slipping.groups.size()) {
      candidate.band_low = run.wheel.slipping.groups[all.best_group].low;
      candidate.band_high = run.wheel.slipping.groups[all.best_group].high;
    }
}

// The best loaded run counts: wear that shows in one gear or on one flank is wear.
void judge_mesh(Candidate& candidate, const Track& track, const std::vector<HeardRun>& runs, Hertz highest) {
  for (std::size_t r = 0; r < runs.size(); ++r) {
    if (!track.family[r] || !track.family[r]->loaded) continue;
    const auto place = place_of(*track.family[r], runs[r]);
    if (!place || place->modulation <= 0.0) continue;
    if (const auto mesh =
            mesh_evidence(place->spectra->tones, place->fundamental, place->modulation, highest))
      candidate.level = std::max(candidate.level, mesh->sidebands.value());
  }
}

// Half orders of the engine up to `highest` of its turns, per wheel turn; none where the engine runs free.
void add_engine_orders(std::vector<double>& known, const HeardRun& run, double highest) {
  const auto engine = run.rates.find("engine");
  if (engine == run.rates.end() || !engine->second.road_bound()) return;
  for (double half = 0.5; half <= highest; half += 0.5)
    known.push_back(half * std::abs(engine->second.wheel));
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
  add_engine_orders(known, run, 30.0);
  return known;
}

void judge_tyre(Candidate& candidate, const Car& car, const std::vector<HeardRun>& runs) {
  for (const HeardRun& run : runs) {
    const TyreEvidence tyre = tyre_evidence(run.wheel.tones, known_orders(car, run));
    if (tyre.excess <= candidate.level) continue;
    candidate.level = tyre.excess;
    candidate.fundamental.assign(runs.size(), tyre.centre);
  }
}

void judge_joint(Candidate& candidate, const Track& track, const std::vector<HeardRun>& runs) {
  for (std::size_t r = 0; r < runs.size(); ++r) {
    if (!track.family[r]) continue;
    const auto place = place_of(*track.family[r], runs[r]);
    if (!place || place->engine_bound) continue;
    std::vector<double> known;
    add_engine_orders(known, runs[r], 13.0);
    const double shaft = candidate.fault == Fault::worn_joint ? place->fundamental / 2.0 : place->fundamental;
    if (const auto joint = joint_evidence(place->spectra->tones, shaft, known))
      candidate.level = std::max(candidate.level, joint->twice.value());
  }
}

// Combs share lines (3 x an outer race may be 2 x an inner one). Healthy machines are asked first, with the
// benefit of the doubt. Of two suspects, the real one keeps its evidence when the other's lines are left out;
// the shadow loses it. The winner beats every rival so; the rest keep what the winner does not explain.
void explain_away(std::vector<Candidate>& candidates, const std::vector<Track>& tracks,
                  const std::vector<HeardRun>& runs) {
  constexpr double worth_it = 2.0;    // nats
  constexpr double for_health = 3.0;  // nats in favour of the healthy explanation
  constexpr std::size_t contenders = 6;
  const auto strong_ones = [&](bool healthy) {
    std::vector<std::size_t> strong;
    for (std::size_t i = 0; i < candidates.size(); ++i)
      if (candidates[i].kind == EvidenceKind::events && candidates[i].healthy == healthy &&
          candidates[i].log_factor > worth_it)
        strong.push_back(i);
    std::sort(strong.begin(), strong.end(), [&](std::size_t a, std::size_t b) {
      return candidates[a].log_factor > candidates[b].log_factor;
    });
    return strong;
  };
  const auto explains = [&](std::size_t i) { return explained_in(candidates[i], tracks[i], runs); };
  const auto left_of = [&](std::size_t i, const ExplainedRuns& by) {
    return listen_for(candidates[i], tracks[i], runs, &by).log_bayes_factor;
  };
  for (const std::size_t machine : strong_ones(true)) {
    const ExplainedRuns by_machine = explains(machine);
    for (const std::size_t suspect : strong_ones(false)) {
      const double suspect_left = left_of(suspect, by_machine);
      const double machine_left = left_of(machine, explains(suspect));
      const double machine_first = candidates[machine].log_factor + std::max(0.0, suspect_left) + for_health;
      const double suspect_first = candidates[suspect].log_factor + std::max(0.0, machine_left);
      if (machine_first > suspect_first)
        candidates[suspect].log_factor = std::min(candidates[suspect].log_factor, suspect_left);
    }
  }
  const std::vector<std::size_t> suspects = strong_ones(false);
  if (suspects.size() < 2) return;
  std::size_t winner = suspects.front();
  for (std::size_t i = 1; i < std::min(contenders, suspects.size()); ++i) {
    const std::size_t rival = suspects[i];
    // Near twins (a car's two sides) leave nothing of each other but chance: there the stronger one stays.
    const double clearly = std::max(3.0, 0.1 * candidates[winner].log_factor);
    if (left_of(rival, explains(winner)) > left_of(winner, explains(rival)) + clearly) winner = rival;
  }
  const ExplainedRuns by_winner = explains(winner);
  // One fault is likelier than two: what is left of a rival counts only as far as it exceeds half of the
  // winner's.
  for (const std::size_t i : suspects) {
    if (i == winner) continue;
    const double left = std::min(candidates[i].log_factor, left_of(i, by_winner));
    candidates[i].log_factor = std::max(std::min(left, 0.0), left - 0.5 * candidates[winner].log_factor);
  }
}

Candidate judge(const Car& car, const Key& key, const Track& track, const std::vector<HeardRun>& runs,
                Hertz highest_mesh) {
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
        candidate.healthy ? 1.0
                          : visibility(car, *track.family[r], runs[r].state, runs[r].load, runs[r].turn);
    if (const auto place = place_of(*track.family[r], runs[r])) {
      candidate.fundamental[r] = place->fundamental;
      candidate.modulation[r] = place->modulation;
      candidate.turned = true;
    }
  }
  switch (candidate.kind) {
    case EvidenceKind::events:
      judge_events(candidate, track, runs);
      break;
    case EvidenceKind::mesh_sidebands:
      judge_mesh(candidate, track, runs, highest_mesh);
      break;
    case EvidenceKind::tyre_orders:
      judge_tyre(candidate, car, runs);
      break;
    case EvidenceKind::joint_orders:
      judge_joint(candidate, track, runs);
      break;
  }
  return candidate;
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

// The wheel orders about the middle of the uneven part.
void show_tyre(Candidate& candidate, const std::vector<HeardRun>& runs) {
  for (std::size_t r = 0; r < runs.size(); ++r)
    for (int beside = -2; beside <= 2; ++beside) {
      const double order = std::round(candidate.fundamental[r]) + beside;
      if (order >= 1.0) candidate.lines.push_back(tone_line(runs[r].wheel.tones, r, order, 0, order));
    }
}

}  // namespace

std::vector<Candidate> gather(const Car& car, const std::vector<HeardRun>& runs) {
  constexpr Hertz highest_mesh{6500.0};
  const auto followed = follow_through_runs(runs);
  std::vector<Candidate> candidates(followed.size());
  for_each_in_parallel(followed.size(), [&](std::size_t i) {
    candidates[i] = judge(car, followed[i].first, followed[i].second, runs, highest_mesh);
  });
  std::vector<Track> tracks;
  for (const auto& [key, track] : followed) tracks.push_back(track);
  explain_away(candidates, tracks, runs);
  return candidates;
}

void show_lines(Candidate& candidate, const std::vector<HeardRun>& runs) {
  candidate.lines.clear();
  if (candidate.kind == EvidenceKind::mesh_sidebands) return show_mesh(candidate, runs);
  if (candidate.kind == EvidenceKind::tyre_orders) return show_tyre(candidate, runs);
  if (candidate.kind != EvidenceKind::events) return;
  for (std::size_t r = 0; r < runs.size(); ++r) {
    const auto family = std::find_if(runs[r].families.begin(), runs[r].families.end(), [&](const Family& f) {
      return f.part == candidate.part && f.fault == candidate.fault;
    });
    if (family == runs[r].families.end()) continue;
    const auto place = place_of(*family, runs[r]);
    if (!place) continue;
    for (const CombSeen& seen : comb_seen(spectra_for(*place, candidate.fault), *family, place->fundamental,
                                          place->modulation, candidate.slip, candidate.group))
      candidate.lines.push_back({r, seen.harmonic, seen.side, Order(seen.order), place->engine_bound,
                                 Order(seen.order) * place->reference_rate, seen.above_background,
                                 seen.chance});
  }
}

}  // namespace gearhark
