#include "gearhark/repair/compare.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <map>
#include <random>

#include "gearhark/diagnosis/ranking.hpp"
#include "gearhark/evidence/candidates.hpp"
#include "gearhark/signal/parallel.hpp"
#include "gearhark/signal/resample.hpp"
#include "gearhark/signal/statistics.hpp"
#include "patterns.hpp"
#include "stretches.hpp"

namespace gearhark {
namespace {

using repair::LineSum;
using repair::Pattern;
using repair::patterns_of;
using repair::Stretches;

constexpr double analysis_rate_hz = EnvelopeSettings{}.rate_hz, line_limit = EnvelopeSettings{}.line_limit;
constexpr std::size_t most_parts = 6;     // of the runs before, by what they say themselves
constexpr double heard_from = 4.0;        // sigmas above control patterns: there before
constexpr double still_heard_from = 4.0;  // there after
constexpr double appeared_by = 6.0;       // not there before, there after: many parts are looked at
constexpr double least_change_db = 1.5;   // less is no change, however sure
constexpr double run_to_run_db = 1.0;     // what the same car differs by between two drives (judged)
// Probability at which a part was heard before: less than a diagnosis asks for, because its own pattern must
// stand out as well.
constexpr double suspected_before = 0.3;
constexpr double believed_before = 0.5;
constexpr double suspected_at_all = 0.05;  // less: its lines are another part's
constexpr std::size_t controls = 24;

// -- one run, ready to be measured --

struct Prepared {
  const RunSound* sound = nullptr;
  Tracking tracking;
  RecordingQuality quality;
  std::vector<float> samples;  // at the analysis rate
  HeardRun heard;
  bool placed = false;  // its shaft angle was found
};

std::vector<Prepared> prepared(const Car& car, const std::vector<RunSound>& before,
                               const std::vector<RunSound>& after) {
  std::vector<Prepared> runs;
  std::vector<RunInput> inputs;
  for (const auto* sounds : {&before, &after})
    for (const RunSound& s : *sounds) {
      inputs.push_back({s.run, s.recording.samples, s.recording.sample_rate});
      runs.emplace_back().sound = &s;
    }
  // One car, one speedometer, one set of tyres: what the sure runs say helps the others, whatever the day.
  std::vector<Tracking> trackings = track_all(car, inputs);
  for_each_in_parallel(runs.size(), [&](std::size_t i) {
    Prepared& run = runs[i];
    const Recording& recording = run.sound->recording;
    run.tracking = std::move(trackings[i]);
    run.quality = assess(recording);
    run.placed = run.tracking.certainty != Certainty::lost && recording.duration().value() >= 5.0;
    if (!run.placed) return;  // its lines have no place: nothing is measured in it
    run.samples = resample(recording.samples, recording.sample_rate, analysis_rate_hz);
    run.heard = listen_to(car, run.sound->run, recording.samples, recording.sample_rate,
                          run.quality.bandwidth, run.tracking);
  });
  return runs;
}

// -- pairing --

// In the gear that the sound fits, whichever was noted.
const Gear& gear_of(const Prepared& run) {
  return run.tracking.gear.label.empty() ? run.sound->run.gear : run.tracking.gear;
}

bool same_state(const Prepared& one, const Prepared& other) {
  const Run &a = one.sound->run, &b = other.sound->run;
  return gear_of(one) == gear_of(other) && a.load == b.load && a.turn == b.turn && a.clutch == b.clutch;
}

std::string described(const Run& run) {
  return fmt::format("{} (gear {}, {}, {})", run.file, run.gear.label, to_text(run.load), to_text(run.turn));
}

// The common reference: middle change of the noise floor over the third-octave bands that both recordings
// hold.
void find_reference(RunPair& pair, const Prepared& before, const Prepared& after) {
  const Hertz top(std::min(before.quality.bandwidth.value(), after.quality.bandwidth.value()));
  const auto was = repair::floors(before.samples, analysis_rate_hz, top),
             is = repair::floors(after.samples, analysis_rate_hz, top);
  std::vector<float> changes;
  for (std::size_t b = 0; b < was.size(); ++b)
    if (std::isfinite(was[b]) && std::isfinite(is[b])) changes.push_back(static_cast<float>(is[b] - was[b]));
  pair.gain_db = median(changes);
  pair.gain_sd_db = std::max(0.3, 1.4826 * median_absolute_deviation(changes));
}

void pair_runs(Comparison& out, const std::vector<Prepared>& runs, const CompareSettings& settings) {
  const std::size_t n = out.before.size();
  for (std::size_t a = 0; a < out.after.size(); ++a) {
    std::optional<RunPair> best;
    bool state = false;
    for (std::size_t b = 0; b < n; ++b) {
      if (!same_state(runs[b], runs[n + a])) continue;
      state = true;
      if (!runs[b].placed || !runs[n + a].placed) continue;
      const double ratio = runs[n + a].tracking.wheel.mean_rate() / runs[b].tracking.wheel.mean_rate();
      if (std::abs(std::log(ratio)) > settings.speed_within) continue;
      if (!best || std::abs(std::log(ratio)) < std::abs(std::log(best->speed_ratio)))
        best = RunPair{b, a, ratio, 0.0, 0.0};
    }
    if (best) {
      find_reference(*best, runs[best->before], runs[n + a]);
      out.pairs.push_back(*best);
    } else {
      out.remarks.push_back(
          fmt::format("{} after the repair has no partner before it: {}.", described(out.after[a]),
                      state ? "the speeds differ too much or could not be found in the sound"
                            : "no run in the same gear, load and turn"));
    }
  }
}

// -- how loud it is --

std::vector<double> scaled(const std::vector<double>& orders, double factor) {
  std::vector<double> out;
  for (const double order : orders) out.push_back(order * factor);
  return out;
}

// Where controls are put: the same pattern where none of its lines lies. Combs of events are stretched; tones
// are moved between their own lines, for every whole order may hold something of the wheels.
std::vector<std::vector<double>> control_patterns(const Pattern& pattern) {
  std::vector<std::vector<double>> out;
  for (std::size_t i = 0; i < controls; ++i) {
    const double sign = i % 2 ? 1.0 : -1.0, step = static_cast<double>(i / 2);
    std::vector<double> orders = pattern.orders;
    for (double& order : orders)
      order += sign * (pattern.spacing > 0.0 ? pattern.spacing * (0.24 + 0.02 * step)
                                             : std::max(order * (0.021 + 0.0041 * step), 0.3 + 0.04 * step));
    out.push_back(std::move(orders));
  }
  return out;
}
// A bearing's slip may differ a little from day to day, and the shaft angle is not exact.
constexpr std::array<double, 5> nearby = {0.9975, 0.9988, 1.0, 1.0012, 1.0025};

// One fault in one recording.
struct Level {
  LineSum lines;
  std::vector<double> controls;
};

LineSum strongest_nearby(const Stretches& stretches, const std::vector<double>& orders,
                         const std::vector<double>& background, bool slips) {
  LineSum best;
  for (const double near : nearby) {
    if (!slips && near != 1.0) continue;
    LineSum sum = repair::line_sum(stretches, scaled(orders, near), background);
    if (best.per_stretch.empty() || sum.mean() > best.mean()) best = std::move(sum);
  }
  return best;
}

Level level_of(const Stretches& stretches, const Pattern& pattern, const std::vector<double>& background,
               bool slips) {
  Level out{strongest_nearby(stretches, pattern.orders, background, slips), {}};
  for (const auto& orders : control_patterns(pattern)) {
    // Against the background there, so that a control says what noise alone would do here.
    const auto there = repair::background_at(stretches, orders);
    out.controls.push_back(strongest_nearby(stretches, orders, there, slips).mean());
  }
  return out;
}

// One pattern in one pair.
struct PairLevel {
  const RunPair* pair = nullptr;
  Level before, after;
  double reference_change_db = 0.0;  // of what the levels are told in, against the common reference
  double weight = 1.0;
  double fundamental = 0.0;  // as found, of the shaft that the lines are bound to
  bool shows = true;
};
// One pattern in every pair in which it can be followed.
using PatternLevels = std::vector<PairLevel>;

// What shows nothing of a fault that shows elsewhere can't tell of its change.
void keep_what_shows(std::vector<PatternLevels>& patterns) {
  const auto does_show = [](const PairLevel& level) { return level.shows; };
  const bool any = std::any_of(patterns.begin(), patterns.end(), [&](const PatternLevels& levels) {
    return std::any_of(levels.begin(), levels.end(), does_show);
  });
  for (PatternLevels& levels : patterns)
    if (any) std::erase_if(levels, std::not_fn(does_show));
  std::erase_if(patterns, [](const PatternLevels& levels) { return levels.empty(); });
}

// Of two sidebands the one that stands out less on both days together.
void keep_weaker(Pattern& pattern, const Stretches& was, const Stretches& is) {
  if (!pattern.one_of_two) return;
  const auto above = [&](double order) {
    double sum = 0.0;
    for (const Stretches* day : {&was, &is})
      sum += repair::line_sum(*day, {{order}}, repair::background_at(*day, {{order}})).mean();
    return sum;
  };
  pattern.orders = {*std::min_element(pattern.orders.begin(), pattern.orders.end(),
                                      [&](double a, double b) { return above(a) < above(b); })};
}

class Measurer {
 public:
  Measurer(const Car& car, const std::vector<Prepared>& runs, std::size_t first_after)
      : car_(car), runs_(runs), first_after_(first_after) {}

  std::vector<PatternLevels> measure(const Candidate& candidate, const std::vector<std::size_t>& heard_index,
                                     bool from_after, const std::vector<RunPair>& pairs) {
    std::vector<PatternLevels> out;
    for (const RunPair& pair : pairs) {
      const std::size_t b = pair.before, a = first_after_ + pair.after, own = from_after ? a : b;
      const auto at = std::find(heard_index.begin(), heard_index.end(), own);
      if (at == heard_index.end()) continue;
      const auto r = static_cast<std::size_t>(at - heard_index.begin());
      if (candidate.visibility[r] < 0.2) continue;
      std::vector<Pattern> patterns = patterns_of(car_, candidate, runs_[own].heard, r);
      out.resize(std::max(out.size(), patterns.size()));
      for (std::size_t i = 0; i < patterns.size(); ++i) {
        if (patterns[i].orders.empty()) continue;
        if (auto level = in_pair(patterns[i], candidate, pair, b, a)) {
          level->weight = candidate.visibility[r] * candidate.visibility[r];
          level->fundamental = candidate.fundamental[r] * (1.0 + candidate.slip);
          out[i].push_back(*std::move(level));
        }
      }
    }
    keep_what_shows(out);
    return out;
  }

 private:
  std::optional<PairLevel> in_pair(Pattern& pattern, const Candidate& candidate, const RunPair& pair,
                                   std::size_t b, std::size_t a) {
    const double turned = std::min(turned_in(b, pattern), turned_in(a, pattern));
    const std::size_t turns = repair::turns_of_a_stretch(pattern.band.has_value(), turned);
    const Stretches *was = stretches(b, pattern, turns), *is = stretches(a, pattern, turns);
    if (!was || !is || was->power.size() < 4 || is->power.size() < 4) return std::nullopt;
    keep_weaker(pattern, *was, *is);
    // One yardstick for both, or the same line would count differently on the two days.
    auto background = repair::background_at(*was, pattern.orders);
    const auto other = repair::background_at(*is, pattern.orders);
    for (std::size_t i = 0; i < background.size(); ++i) background[i] = std::sqrt(background[i] * other[i]);
    const bool slips = candidate.kind == EvidenceKind::events && candidate.fault != Fault::chipped_tooth;
    PairLevel out;
    out.pair = &pair;
    out.before = level_of(*was, pattern, background, slips);
    out.after = level_of(*is, pattern, background, slips);
    out.shows = pattern.shows;
    out.reference_change_db = is->reference_db - was->reference_db - pair.gain_db;
    return out;
  }

  const AngleTrack* shaft_of(std::size_t run, const Pattern& pattern) const {
    const Tracking& tracking = runs_[run].tracking;
    if (!pattern.engine_bound) return &tracking.wheel;
    return tracking.engine ? &*tracking.engine : nullptr;
  }

  double turned_in(std::size_t run, const Pattern& pattern) const {
    const AngleTrack* shaft = shaft_of(run, pattern);
    return shaft ? shaft->turns.back() - shaft->turns.front() : 0.0;
  }

  const Stretches* stretches(std::size_t run, const Pattern& pattern, std::size_t turns) {
    const auto key =
        std::tuple{run, turns, pattern.engine_bound, pattern.band ? pattern.band->low.value() : 0.0,
                   pattern.band ? pattern.band->high.value() : 0.0};
    const auto found = made_.find(key);
    if (found != made_.end()) return &found->second;
    const Prepared& p = runs_[run];
    const AngleTrack* shaft = shaft_of(run, pattern);
    if (!shaft) return nullptr;
    const std::span<const float> samples =
        pattern.band ? limited(run, *shaft) : std::span<const float>(p.samples);
    return &made_
                .try_emplace(key,
                             repair::stretches_of(samples, analysis_rate_hz, *shaft, pattern.band, turns))
                .first->second;
  }

  std::span<const float> limited(std::size_t run, const AngleTrack& shaft) {
    auto& kept = limited_[{run, &shaft}];
    if (kept.empty()) kept = limit_locked_lines(runs_[run].samples, analysis_rate_hz, shaft, line_limit);
    return kept;
  }

  const Car& car_;
  const std::vector<Prepared>& runs_;
  std::size_t first_after_;
  std::map<std::tuple<std::size_t, std::size_t, bool, double, double>, Stretches> made_;
  std::map<std::pair<std::size_t, const AngleTrack*>, std::vector<float>> limited_;
};

// -- from levels to a change --

struct Heard {
  double sum = 0.0, control_middle = 0.0, control_sd = 1.0;
  [[nodiscard]] double excess() const { return sum - control_middle; }
  [[nodiscard]] double sigmas() const { return excess() / control_sd; }
};

Heard heard_in(const PatternLevels& pairs, Level PairLevel::*when) {
  Heard out;
  std::vector<float> sums(controls, 0.0f);
  for (const PairLevel& p : pairs) {
    out.sum += p.weight * (p.*when).lines.mean();
    for (std::size_t c = 0; c < controls; ++c)
      sums[c] += static_cast<float>(p.weight * (p.*when).controls[c]);
  }
  out.control_middle = median(sums);
  out.control_sd = std::max(1.4826 * median_absolute_deviation(sums), 1e-9);
  return out;
}

// Means over stretches drawn anew, two neighbours at a time (they overlap by half).
double redrawn_mean(const LineSum& lines, std::mt19937& random) {
  const std::size_t n = lines.per_stretch.size();
  double sum = 0.0;
  std::size_t drawn = 0;
  while (drawn < n) {
    const std::size_t at = std::uniform_int_distribution<std::size_t>(0, n - 2)(random);
    sum += lines.per_stretch[at] + lines.per_stretch[at + 1];
    drawn += 2;
  }
  return sum / static_cast<double>(drawn);
}

struct Interval {
  double middle = 0.0, low = 0.0, high = 0.0;
};

// Events: the power of a band's envelope goes with the square of the fault's own power.
double decibels(double ratio, bool events) { return (events ? 5.0 : 10.0) * std::log10(ratio); }

// A pattern on both days.
struct Followed {
  const PatternLevels* levels = nullptr;
  Heard before, after;
  double reference_db = 0.0, reference_sd = 0.0;
};

Followed followed(const PatternLevels& levels) {
  Followed out{&levels, heard_in(levels, &PairLevel::before), heard_in(levels, &PairLevel::after), 0.0, 0.0};
  double variance = 0.0, weights = 0.0;
  for (const PairLevel& p : levels) {
    const double w = p.weight * std::max(p.before.lines.mean(), 1e-3);
    out.reference_db += w * p.reference_change_db;
    variance += w * w * p.pair->gain_sd_db * p.pair->gain_sd_db;
    weights += w;
  }
  out.reference_db /= weights;
  out.reference_sd = std::sqrt(variance) / weights;
  return out;
}

// After over before where they stand so far above the control patterns; where nothing is heard, what could
// just be heard.
double change_db(const Followed& f, double before, double after, bool events) {
  return f.reference_db +
         decibels(std::max(after, f.after.control_sd) / std::max(before, f.before.control_sd), events);
}

double middle_of(const std::vector<Followed>& patterns, const std::function<double(const Followed&)>& value) {
  std::vector<float> values;
  for (const Followed& f : patterns) values.push_back(static_cast<float>(value(f)));
  return median(values);
}

// Of several patterns the middle one counts.
Interval change_of(const std::vector<Followed>& patterns, bool events, const CompareSettings& settings) {
  const double reference_sd =
      std::hypot(middle_of(patterns, [](const Followed& f) { return f.reference_sd; }), run_to_run_db);
  std::mt19937 random(1);
  std::normal_distribution<double> normal;
  std::vector<float> draws;
  for (int i = 0; i < settings.resamples; ++i) {
    const double change = middle_of(patterns, [&](const Followed& f) {
      double was = -f.before.control_middle, is = -f.after.control_middle;
      for (const PairLevel& p : *f.levels) {
        was += p.weight * redrawn_mean(p.before.lines, random);
        is += p.weight * redrawn_mean(p.after.lines, random);
      }
      is += f.after.control_sd * normal(random);
      was += f.before.control_sd * normal(random);
      return change_db(f, was, is, events);
    });
    draws.push_back(static_cast<float>(change + reference_sd * normal(random)));
  }
  const double tail = 0.5 * (1.0 - settings.interval);
  const double middle = middle_of(
      patterns, [&](const Followed& f) { return change_db(f, f.before.excess(), f.after.excess(), events); });
  return {middle, quantile(draws, tail), quantile(draws, 1.0 - tail)};
}

// Its pattern stands out, and it is a suspect; or the runs before name it by themselves, since a diagnosis
// sees more than a pattern (a tyre's many faint orders, say).
bool heard_before(const PartChange& part) {
  return (part.heard_before >= heard_from && part.before.value() >= suspected_at_all) ||
         part.before.value() >= believed_before;
}

// Of what was heard before. Sidebands stand out in sound gears, too: of them the runs after by themselves say
// whether there are more than usual.
void judge_change(PartChange& part, EvidenceKind kind) {
  const bool sidebands = kind == EvidenceKind::mesh_sidebands;
  const bool stands_out = !sidebands && part.heard_after >= still_heard_from,
             is = stands_out || part.after.value() >= suspected_before;
  if (!is && part.high_db < (sidebands ? -least_change_db : 0.0)) {
    part.verdict = Change::gone;
    part.reason = sidebands ? "no more than sound gears show" : "no longer stands out of the background";
  } else if (part.high_db < -least_change_db) {
    part.verdict = Change::reduced;
    part.reason = "weaker, but still heard";
  } else if (part.low_db > least_change_db) {
    part.verdict = Change::worse;
    part.reason = "louder than before";
  } else if (!is && part.heard_before < heard_from) {
    part.reason = "not heard clearly enough in the runs before that have a partner";
  } else {
    part.verdict = Change::unchanged;
    part.reason =
        is ? "still heard, no weaker for certain" : "weaker by no more than the interval allows for";
  }
}

void judge(PartChange& part, EvidenceKind kind) {
  if (part.pairs == 0)
    part.reason = "no pair of runs in which it could be followed";
  else if (heard_before(part))
    judge_change(part, kind);
  else
    part.reason = part.heard_before < heard_from
                      ? "not heard clearly enough before"
                      : "no suspect before: what stands out there is another part's";
}

// A suspect as it was measured.
struct Measured {
  PartChange part;
  EvidenceKind kind = EvidenceKind::events;
  std::vector<PatternLevels> patterns;
};

Measured measured(const RankedPart& ranked, const Candidate& candidate, const Car& car,
                  std::vector<PatternLevels> patterns) {
  Measured out{{}, candidate.kind, std::move(patterns)};
  out.part.part = ranked.part;
  if (const Part* part = car.part(ranked.part)) out.part.name = part->name;
  out.part.cannot_be_told_from = ranked.cannot_be_told_from;
  out.part.fault = candidate.fault;
  return out;
}

// All that is followed of a suspect may as well be another's, though runs without a partner may tell the two
// apart: whether it is gone does not depend on whose it was.
bool one_noise(const Measured& suspect, const Measured& other) {
  constexpr double alike = 0.0025;  // of the order; what slips may differ by from run to run
  if (suspect.kind != EvidenceKind::events || suspect.part.fault != other.part.fault ||
      suspect.patterns.empty() || other.patterns.empty())
    return false;
  const PatternLevels &own = suspect.patterns.front(), &others = other.patterns.front();
  return std::all_of(own.begin(), own.end(), [&](const PairLevel& a) {
    return std::any_of(others.begin(), others.end(), [&](const PairLevel& b) {
      return a.pair == b.pair && std::abs(a.fundamental - b.fundamental) <= alike * a.fundamental;
    });
  });
}

void add_as_one(std::vector<Measured>& parts, Measured part) {
  const auto same =
      std::find_if(parts.begin(), parts.end(), [&](const Measured& m) { return one_noise(m, part); });
  if (same == parts.end()) {
    parts.push_back(std::move(part));
    return;
  }
  auto& twins = same->part.cannot_be_told_from;
  twins.push_back(part.part.part);
  twins.insert(twins.end(), part.part.cannot_be_told_from.begin(), part.part.cannot_be_told_from.end());
  same->part.before = Probability(same->part.before.value() + part.part.before.value());
  same->part.after = Probability(same->part.after.value() + part.part.after.value());
}

// Not judged yet.
PartChange change_in(const Measured& suspect, const CompareSettings& settings) {
  PartChange out = suspect.part;
  std::vector<Followed> patterns;
  for (const PatternLevels& levels : suspect.patterns) {
    out.pairs = std::max(out.pairs, levels.size());
    patterns.push_back(followed(levels));
  }
  if (!patterns.empty()) {
    out.heard_before = middle_of(patterns, [](const Followed& f) { return f.before.sigmas(); });
    out.heard_after = middle_of(patterns, [](const Followed& f) { return f.after.sigmas(); });
    const Interval change = change_of(patterns, suspect.kind == EvidenceKind::events, settings);
    out.change_db = change.middle;
    out.low_db = std::min(change.low, change.middle);
    out.high_db = std::max(change.high, change.middle);
  }
  return out;
}

// -- what is followed --

struct Side {
  std::vector<std::size_t> index;  // into the prepared runs
  std::vector<Candidate> candidates;
  Ranking ranking;
};

Side side_of(const Car& car, const std::vector<Prepared>& runs, std::size_t from, std::size_t to) {
  Side out;
  std::vector<HeardRun> heard_runs;
  for (std::size_t i = from; i < to; ++i)
    if (runs[i].placed) {
      out.index.push_back(i);
      heard_runs.push_back(runs[i].heard);
    }
  out.candidates = gather(car, heard_runs);
  out.ranking = rank(car, out.candidates);
  return out;
}

// Of two gears that mesh the other one seems chipped: not the same fault.
bool another_gear(const Candidate& one, const Candidate& other) {
  if (one.fault != Fault::chipped_tooth || other.fault != Fault::chipped_tooth) return false;
  for (const double a : one.fundamental)
    for (const double b : other.fundamental)
      if (a > 0.0 && std::abs(a - b) < 0.01 * a) return false;
  return true;
}

// A ranked part or a change, of this part or of one that it can't be told from.
bool is_about(const auto& one, const std::string& part) {
  const auto& twins = one.cannot_be_told_from;
  return one.part == part || std::find(twins.begin(), twins.end(), part) != twins.end();
}

// What one side says by itself of the fault that the other side found.
Probability probability_of(const Candidate& fault, const Side& side) {
  const auto ranked = std::find_if(side.ranking.parts.begin(), side.ranking.parts.end(),
                                   [&](const RankedPart& part) { return is_about(part, fault.part); });
  if (ranked == side.ranking.parts.end() || another_gear(fault, side.candidates[ranked->best]))
    return Probability(0.0);
  return ranked->probability;
}

// With those that it can't be told from.
std::string names_of(const PartChange& change, const Car& car) {
  std::string out = change.name.empty() ? change.part : change.name;
  for (const std::string& twin : change.cannot_be_told_from) {
    const Part* part = car.part(twin);
    out += " or " + (part && !part->name.empty() ? part->name : twin);
  }
  return out;
}

// By the runs after; heard on both days.
bool still_named(const PartChange& change) {
  return change.after.value() >= believed_before && change.heard_before >= heard_from &&
         (change.verdict == Change::unchanged || change.verdict == Change::reduced);
}

void conclude(Comparison& out, const Car& car) {
  if (out.pairs.empty()) {
    out.reason = "No run after the repair matches one before it in gear, load, turn and speed.";
    return;
  }
  const auto first = std::find_if(out.parts.begin(), out.parts.end(), [](const PartChange& p) {
    return p.before.value() >= suspected_before && heard_before(p);
  });
  if (first == out.parts.end()) {
    out.reason = "No fault was heard clearly enough before the repair, so there is nothing to compare with.";
    return;
  }
  out.verdict = first->verdict;
  out.part = first->part;
  out.reason = fmt::format("{}: {}.", names_of(*first, car), first->reason);
  if (first->before.value() < believed_before)
    out.reason +=
        fmt::format(" Before, it was no more than suspected ({:.0f} %).", 100.0 * first->before.value());
  // What the runs after name and what was there before may be what was heard then, under another name.
  const auto there = std::find_if(out.parts.begin(), out.parts.end(), still_named);
  const bool cured = first->verdict == Change::gone || first->verdict == Change::reduced;
  if (!cured || there == out.parts.end() || there == first) return;
  out.verdict = there->verdict;
  out.part = there->part;
  out.reason =
      fmt::format("{}: {}. The runs after name it; what those before named first, the {}, is {}.",
                  names_of(*there, car), there->reason, names_of(*first, car), to_text(first->verdict));
}

void advise(Comparison& out) {
  for (const PartChange& p : out.parts)
    if (p.verdict == Change::worse) {
      out.appeared.push_back(p.part);
      out.remarks.push_back(fmt::format("The {} is {} after the repair: look at what was worked on.",
                                        p.name.empty() ? p.part : p.name,
                                        p.heard_before < heard_from ? "heard only" : "louder"));
    }
  out.cautions = {
      "\"Gone\" means no longer heard in these runs by this phone. It does not say that the part, or the "
      "repair, "
      "is sound: check play, torque settings and oil by hand, and listen again after some days.",
      "Local law and the judgement of a qualified workshop come first."};
}

}  // namespace

std::string to_text(Change change) {
  constexpr std::array words{"gone", "reduced", "unchanged", "worse", "not comparable"};
  return words[static_cast<std::size_t>(change)];
}

Comparison compare(const Car& car, const std::vector<RunSound>& before, const std::vector<RunSound>& after,
                   const CompareSettings& settings) {
  Comparison out;
  out.car_name = car.name;
  for (const RunSound& s : before) out.before.push_back(s.run);
  for (const RunSound& s : after) out.after.push_back(s.run);
  const std::vector<Prepared> runs = prepared(car, before, after);
  pair_runs(out, runs, settings);
  const Side was = side_of(car, runs, 0, before.size()), is = side_of(car, runs, before.size(), runs.size());
  Measurer measurer(car, runs, before.size());
  std::vector<Measured> suspects;
  for (const RankedPart& ranked : was.ranking.parts) {
    if (suspects.size() == most_parts) break;
    const Candidate& candidate = was.candidates[ranked.best];
    Measured suspect =
        measured(ranked, candidate, car, measurer.measure(candidate, was.index, false, out.pairs));
    suspect.part.before = ranked.probability;
    suspect.part.after = probability_of(candidate, is);
    add_as_one(suspects, std::move(suspect));
  }
  for (const Measured& suspect : suspects) {
    out.parts.push_back(change_in(suspect, settings));
    judge(out.parts.back(), suspect.kind);
  }
  // What the runs after name by themselves is followed back: it is new, or was there before under another
  // name.
  for (const RankedPart& ranked : is.ranking.parts) {
    if (ranked.probability.value() < believed_before) break;
    const auto known = std::find_if(out.parts.begin(), out.parts.end(),
                                    [&](const PartChange& p) { return is_about(p, ranked.part); });
    if (known != out.parts.end() && known->verdict != Change::not_comparable) continue;
    const Candidate& candidate = is.candidates[ranked.best];
    const Measured suspect =
        measured(ranked, candidate, car, measurer.measure(candidate, is.index, true, out.pairs));
    PartChange found = change_in(suspect, settings);
    if (found.heard_after < appeared_by) continue;
    found.before = probability_of(candidate, was);
    found.after = ranked.probability;
    if (found.heard_before >= heard_from) {
      judge_change(found, suspect.kind);
    } else {
      found.verdict = Change::worse;
      found.reason = "heard after and not before";
    }
    if (known != out.parts.end()) out.parts.erase(known);
    out.parts.push_back(std::move(found));
  }
  conclude(out, car);
  advise(out);
  return out;
}

}  // namespace gearhark
