#include "gearhark/diagnosis/confirm.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "gearhark/diagnosis/explain.hpp"
#include "gearhark/diagnosis/hearing.hpp"
#include "gearhark/diagnosis/motion.hpp"
#include "gearhark/diagnosis/next_run.hpp"
#include "gearhark/diagnosis/ranking.hpp"
#include "gearhark/signal/resample.hpp"
#include "gearhark/synthesis/synthesis.hpp"

namespace gearhark {
namespace {

constexpr double injection_rate_hz = 48000.0;  // synthesis makes this
// Levels of injected faults: none is worth a test beyond what any ear would hear, or below what no detector
// finds.
constexpr double quietest_db = -18.0, loudest_db = 15.0, first_db = 0.0;
constexpr double clearly_more = 2.0;  // than the recording has by itself
// Faults of another make than ours (narrow resonances, races that fall silent once per turn, spacing that
// wanders) had to be so much louder to be found as often: seen with faults made by another route, 2026-11.
constexpr double other_makes_db = 3.0;

// One run with what its injections need.
struct Bench {
  const Car& car;
  const RunSound& sound;
  const RunReport& report;
  std::string part;
  Fault fault;
  double enough;                 // heard at least so much, a fault put in counts as found
  std::vector<float> recording;  // 48 kHz
  Motion motion;
};

std::optional<bool> is_found(const Bench& bench, double level_db, std::uint64_t character) {
  SoundSettings settings;
  settings.run.gear = bench.report.tracking.gear;
  settings.run.clutch = bench.sound.run.clutch;
  settings.run.load = bench.sound.run.load;
  settings.run.turn = bench.sound.run.turn;
  settings.run.motion = bench.motion;
  settings.fault = SoundFault{};
  settings.fault->part = bench.part;
  settings.fault->fault = bench.fault;
  settings.fault->extent = character % 2 == 0 ? Extent::point : Extent::extended;
  settings.car_seed = settings.run_seed = character;
  const auto fault = synthesise_fault(bench.car, settings);
  if (!fault) return {};
  const auto mixed =
      with_fault(bench.recording, *fault, Decibels::already(level_db), bench.report.quality.bandwidth);
  std::vector<HeardRun> run;
  run.push_back(listen_to(bench.car, bench.sound.run, mixed, injection_rate_hz,
                          bench.report.quality.bandwidth, bench.report.tracking));
  const std::vector<Candidate> candidates = gather_part(bench.car, bench.part, run, bench.fault);
  return std::any_of(candidates.begin(), candidates.end(),
                     [&](const Candidate& c) { return c.turned && heard(c) >= bench.enough; });
}

// Up and down round the level that is found as often as not: large steps first.
std::vector<Trial> inject(const Bench& bench, int injections) {
  std::vector<Trial> trials;
  double level = first_db, step = 6.0;
  for (int i = 0; i < injections; ++i) {
    const auto found = is_found(bench, level, static_cast<std::uint64_t>(i) + 1);
    if (!found) return {};
    if (!trials.empty() && trials.back().found != *found) step = std::max(1.5, step / 2.0);
    trials.push_back({level, *found});
    level = std::clamp(level + (*found ? -step : step), quietest_db, loudest_db);
  }
  return trials;
}

// Of the candidates of one part.
Candidate* strongest(std::vector<Candidate>& candidates, const Car& car) {
  Candidate* best = nullptr;
  const auto excess = [&](const Candidate& c) { return heard(c) - enough_heard(c, car); };
  for (Candidate& c : candidates)
    if (c.turned && (!best || excess(c) > excess(*best))) best = &c;
  return best;
}

Result<std::string> fault_words(const std::vector<HeardRun>& runs, const std::string& part,
                                std::optional<Fault> fault) {
  std::string words;
  for (const HeardRun& run : runs)
    for (const Family& family : run.families) {
      const std::string word = to_text(family.fault);
      if (family.part == part && (!fault || family.fault == *fault)) return word;
      if (family.part == part && words.find(word) == std::string::npos)
        words += (words.empty() ? "" : ", ") + word;
    }
  if (!words.empty())
    return Error{fmt::format("The part '{}' can't have the fault '{}'; it can have: {}.", part,
                             to_text(*fault), words)};
  return Error{
      fmt::format("The part '{}' makes no line of its own in these runs, so they can't confirm it; "
                  "name another part or record a run in which it turns.",
                  part)};
}

// Where no run's speed is known, no line has a place.
Confirmation nothing_placed(const Car& car, const std::string& part, const ConfirmSettings& settings,
                            Hearing hearing) {
  Confirmation out;
  out.car_name = car.name;
  out.part = part;
  out.name = car.part(part)->name;
  out.fault = settings.fault.value_or(out.fault);
  out.reason = reason_no_speed(hearing.runs, 0.0);
  out.runs = std::move(hearing.runs);
  out.cautions = cautions_about(car, {part});
  return out;
}

void conclude(Confirmation& c) {
  const std::string name = c.name.empty() ? c.part : c.name;
  if (c.heard >= c.enough) {
    c.verdict = ConfirmVerdict::heard;
    c.reason = fmt::format("The fault ({} of the {}) is heard: evidence {:.1f} where {:.1f} is enough.",
                           to_text(c.fault), name, c.heard, c.enough);
    if (c.probability.value() < 0.5)
      c.reason += fmt::format(
          " But other parts explain the same lines as well or better: among all suspects "
          "it has {:.0f} %.",
          100.0 * c.probability.value());
    return;
  }
  constexpr double loud_for_an_ear = 6.0;  // dB: people bring cars that sound so
  if (c.most_sensitive && c.most_sensitive->found_9_in_10.value() <= loud_for_an_ear) {
    c.verdict = ConfirmVerdict::not_heard;
    c.reason = fmt::format(
        "Not heard. Such a fault ({} of the {}) would have been found 9 times in 10 from {:+.0f} dB up (over "
        "all "
        "else, "
        "in the third-octave band where it stands out most).",
        to_text(c.fault), name, c.most_sensitive->found_9_in_10.value());
    return;
  }
  c.verdict = ConfirmVerdict::could_not_show;
  c.reason = c.most_sensitive
                 ? fmt::format(
                       "Not heard, but these recordings could hardly have shown it: it would have had "
                       "to stand {:+.0f} dB over all else.",
                       c.most_sensitive->found_9_in_10.value())
                 : "Not heard, but these recordings could not have shown it: even the loudest fault put into "
                   "them was not found.";
}

}  // namespace

std::string to_text(ConfirmVerdict verdict) {
  switch (verdict) {
    case ConfirmVerdict::heard:
      return "heard";
    case ConfirmVerdict::not_heard:
      return "not heard";
    case ConfirmVerdict::could_not_show:
      break;
  }
  return "these recordings could not show it";
}

// The likeliest logistic curve over its middle and width, by search: a dozen trials bear no more.
std::optional<Loudness> loudness_found(const std::vector<Trial>& trials) {
  Loudness loudness;
  for (const Trial& trial : trials) loudness.found += trial.found;
  loudness.tried = static_cast<int>(trials.size());
  if (loudness.found == 0) return {};
  constexpr double nine_in_ten = 2.1972;  // logit of 0.9
  double best = -1e9;
  for (double middle = quietest_db - 6.0; middle <= loudest_db + 6.0; middle += 0.25)
    for (const double width : {0.75, 1.5, 3.0}) {
      double log_likelihood = -0.01 * std::abs(middle);  // the louder or quieter end is open: lean to 0 dB
      for (const Trial& trial : trials) {
        const double z = (trial.level_db - middle) / width;
        log_likelihood -= std::log1p(std::exp(trial.found ? -z : z));
      }
      if (log_likelihood <= best) continue;
      best = log_likelihood;
      loudness.found_9_in_10 = Decibels::already(middle + nine_in_ten * width);
    }
  return loudness;
}

Result<Confirmation> confirm(const Car& car, const std::vector<RunSound>& sounds, const std::string& part,
                             const ConfirmSettings& settings) {
  const auto say = [&](const std::string& words) {
    if (settings.progress) settings.progress(words);
  };
  if (!car.part(part)) return no_such_part(car, part);
  say("listening to the runs");
  Hearing hearing = hear(car, sounds);
  if (hearing.heard.empty()) return nothing_placed(car, part, settings, std::move(hearing));
  const auto word = fault_words(hearing.heard, part, settings.fault);
  if (!word) return word.error();
  std::vector<Candidate> alone = gather_part(car, part, hearing.heard, settings.fault);
  const Candidate* suspect = strongest(alone, car);
  if (!suspect) return Error{fmt::format("The part '{}' does not turn in these runs.", part)};

  Confirmation out;
  out.car_name = car.name;
  out.part = part;
  out.name = car.part(part)->name;
  out.fault = suspect->fault;
  out.heard = heard(*suspect);
  out.enough = enough_heard(*suspect, car);
  const Ranking ranking = rank(car, hearing.candidates);
  for (const RankedPart& ranked : ranking.parts)
    if (ranked.part == part ||
        std::count(ranked.cannot_be_told_from.begin(), ranked.cannot_be_told_from.end(), part))
      out.probability = ranked.probability;

  for (std::size_t r = 0; r < hearing.heard.size(); ++r) {
    const auto recording = static_cast<std::size_t>(hearing.index[r]);
    const std::vector<HeardRun> run_alone(1, hearing.heard[r]);
    std::vector<Candidate> here = gather_part(car, part, run_alone, suspect->fault);
    Candidate* own = strongest(here, car);
    if (!own) continue;
    show_lines(*own, run_alone);
    ConfirmRun& run = out.by_run.emplace_back();
    run.recording = hearing.index[r];
    run.heard = heard(*own);
    run.enough = out.enough;
    run.lines = items_of(*own, {hearing.index[r]});
    run.expected_loudness = suspect->visibility[r];
    if (run.heard >= run.enough || settings.injections == 0) continue;
    const RunSound& sound = sounds[recording];
    const Recording& recorded = hearing.sound_of(recording, sounds);
    say(fmt::format("putting the fault into recording {} at growing level", recording + 1));
    const Bench bench{car,
                      sound,
                      hearing.runs[recording],
                      part,
                      suspect->fault,
                      std::max(out.enough, run.heard + clearly_more),
                      resample(recorded.samples, recorded.sample_rate, injection_rate_hz),
                      motion_found(hearing.runs[recording].tracking, hearing.heard[r].bend)};
    const std::vector<Trial> trials = inject(bench, settings.injections);
    run.injected = static_cast<int>(trials.size());
    run.would_be_heard = loudness_found(trials);
    auto& found = run.would_be_heard;
    if (found) found->found_9_in_10 = Decibels::already(found->found_9_in_10.value() + other_makes_db);
    if (found && (!out.most_sensitive || found->found_9_in_10 < out.most_sensitive->found_9_in_10))
      out.most_sensitive = found;
  }
  conclude(out);
  if (out.verdict != ConfirmVerdict::heard || out.probability.value() < 0.5)
    out.next_run =
        best_next_run(car, std::vector<Hypothesis>{{part, out.fault, Probability(0.5)}}, RunLimits{});
  out.runs = std::move(hearing.runs);
  out.cautions = cautions_about(car, {part});
  return out;
}

}  // namespace gearhark
