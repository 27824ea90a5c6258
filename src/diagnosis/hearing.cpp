#include "gearhark/diagnosis/hearing.hpp"

#include <algorithm>

#include "gearhark/signal/parallel.hpp"

namespace gearhark {
namespace {

std::vector<std::string> problems_of(const RecordingQuality& quality, const Tracking& tracking) {
  std::vector<std::string> sentences;
  for (const Problem& problem : quality.problems) sentences.push_back(problem.sentence + " " + problem.cure);
  sentences.insert(sentences.end(), tracking.remarks.begin(), tracking.remarks.end());
  return sentences;
}

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

std::vector<RunReport> look_at(const Car& car, const std::vector<RunSound>& sounds) {
  std::vector<RunInput> inputs;
  for (const RunSound& sound : sounds)
    inputs.push_back({sound.run, sound.recording.samples, sound.recording.sample_rate});
  std::vector<Tracking> trackings = track_all(car, inputs);
  std::vector<RunReport> reports(sounds.size());
  for_each_in_parallel(sounds.size(),
                       [&](std::size_t i) { reports[i] = report_on(sounds[i], std::move(trackings[i])); });
  return reports;
}

// Runs whose shaft angle is placed; in the others every line would be looked for in the wrong place.
std::vector<HeardRun> listen_to_all(const Car& car, const std::vector<RunSound>& sounds,
                                    const std::vector<RunReport>& reports, std::vector<int>& index) {
  for (std::size_t i = 0; i < sounds.size(); ++i)
    if (placed(reports, reports[i]) &&
        sounds[i].recording.samples.size() >= static_cast<std::size_t>(2.0 * sounds[i].recording.sample_rate))
      index.push_back(static_cast<int>(i));
  std::vector<HeardRun> heard(index.size());
  for_each_in_parallel(index.size(), [&](std::size_t at) {
    const auto i = static_cast<std::size_t>(index[at]);
    heard[at] = listen_to(car, sounds[i].run, sounds[i].recording.samples, sounds[i].recording.sample_rate,
                          reports[i].quality.bandwidth, reports[i].tracking);
  });
  return heard;
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
  hearing.runs = look_at(car, sounds);
  hearing.heard = listen_to_all(car, sounds, hearing.runs, hearing.index);
  hearing.candidates = gather(car, hearing.heard);
  return hearing;
}

}  // namespace gearhark
