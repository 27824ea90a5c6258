#include "gearhark/diagnosis/hearing.hpp"

#include <algorithm>
#include <map>

#include "gearhark/signal/parallel.hpp"
#include "long_runs.hpp"

namespace gearhark {
namespace {

RunReport report_on(const RunSound& sound, Tracking tracking) {
  RunReport report;
  report.run = sound.run;
  report.facts = sound.recording.facts;
  report.quality = assess(sound.recording);
  report.mean_wheel = ShaftRate(tracking.wheel.mean_rate());
  report.mean_wheel_sd = ShaftRate(tracking.wheel_rate_sd);
  report.problems = problems_of(report.quality, tracking);
  report.tracking = std::move(tracking);
  return report;
}

using LongRuns = std::map<std::size_t, LongRun>;

LongRuns long_runs_among(const Car& car, const std::vector<RunSound>& sounds) {
  LongRuns runs;
  for (std::size_t i = 0; i < sounds.size(); ++i)
    if (sounds[i].pieces) runs.try_emplace(i, car, sounds[i]);
  return runs;
}

// Long runs take part with an excerpt each.
std::vector<RunReport> look_at(const Car& car, const std::vector<RunSound>& sounds, LongRuns& long_runs) {
  std::vector<RunInput> inputs;
  for (std::size_t i = 0; i < sounds.size(); ++i) {
    const auto long_run = long_runs.find(i);
    inputs.push_back(long_run == long_runs.end() ? RunInput{sounds[i].run, sounds[i].recording.samples,
                                                            sounds[i].recording.sample_rate}
                                                 : long_run->second.excerpt_input());
  }
  std::vector<Tracking> trackings = track_all(car, inputs);
  std::vector<RunReport> reports(sounds.size());
  for_each_in_parallel(sounds.size(), [&](std::size_t i) {
    const auto long_run = long_runs.find(i);
    if (long_run == long_runs.end()) {
      reports[i] = report_on(sounds[i], std::move(trackings[i]));
      return;
    }
    long_run->second.excerpt_found(std::move(trackings[i]));
    reports[i] = long_run->second.report();
  });
  return reports;
}

bool long_enough(const RunSound& sound) {
  return sound.pieces ||
         static_cast<double>(sound.recording.samples.size()) >= 2.0 * sound.recording.sample_rate;
}

// Runs whose shaft angle is placed; in the others every line would be looked for in the wrong place. One long
// run at a time, since each takes the memory of a run of a minute.
void listen_to_all(const Car& car, const std::vector<RunSound>& sounds, LongRuns& long_runs,
                   Hearing& hearing) {
  std::vector<int>& index = hearing.index;
  for (std::size_t i = 0; i < sounds.size(); ++i)
    if (placed(hearing.runs, hearing.runs[i]) && long_enough(sounds[i])) index.push_back(static_cast<int>(i));
  std::map<std::size_t, HeardRun> heard_long;
  for (auto& [i, run] : long_runs) {
    if (auto heard = run.hear(placed(hearing.runs, hearing.runs[i])))
      heard_long.emplace(i, *std::move(heard));
    hearing.runs[i] = run.report();
  }
  std::erase_if(index, [&](int i) {
    const auto at = static_cast<std::size_t>(i);
    return sounds[at].pieces && !heard_long.contains(at);
  });
  hearing.heard.resize(index.size());
  for_each_in_parallel(index.size(), [&](std::size_t at) {
    const auto i = static_cast<std::size_t>(index[at]);
    if (const auto heard = heard_long.find(i); heard != heard_long.end())
      hearing.heard[at] = std::move(heard->second);
    else
      hearing.heard[at] =
          listen_to(car, sounds[i].run, sounds[i].recording.samples, sounds[i].recording.sample_rate,
                    hearing.runs[i].quality.bandwidth, hearing.runs[i].tracking);
  });
}

}  // namespace

bool placed(const std::vector<RunReport>& reports, const RunReport& report) {
  if (report.tracking.certainty != Certainty::lost) return true;
  return !report.run.gear.neutral() &&
         std::any_of(reports.begin(), reports.end(), [](const RunReport& other) {
           return !other.run.gear.neutral() && other.tracking.certainty == Certainty::sure;
         });
}

Hearing hear(const Car& car, const std::vector<RunSound>& sounds) {
  Hearing hearing;
  LongRuns long_runs = long_runs_among(car, sounds);
  hearing.runs = look_at(car, sounds, long_runs);
  listen_to_all(car, sounds, long_runs, hearing);
  for (auto& [i, run] : long_runs) hearing.excerpts.emplace(i, run.take_excerpt());
  long_runs.clear();
  hearing.candidates = gather(car, hearing.heard);
  return hearing;
}

}  // namespace gearhark
