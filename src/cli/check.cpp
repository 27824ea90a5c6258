#include "gearhark/report/check.hpp"

#include <algorithm>
#include <memory>

#include "arguments.hpp"
#include "commands.hpp"
#include "gearhark/diagnosis/bundle.hpp"
#include "gearhark/diagnosis/hearing.hpp"
#include "gearhark/recording/outline.hpp"
#include "gearhark/report/bundle.hpp"
#include "output.hpp"
#include "road_test_sounds.hpp"
#include "run_options.hpp"

namespace gearhark::cli {
namespace {

struct Options : RunOptions {
  std::string json;
  std::size_t outline = 0;
};

// Worst first still.
RecordingQuality with_problems_of(RecordingQuality quality, const Processing& processing) {
  for (Problem& problem : problems_of(processing)) quality.problems.push_back(std::move(problem));
  std::stable_partition(quality.problems.begin(), quality.problems.end(),
                        [](const Problem& problem) { return problem.serious; });
  return quality;
}

// What check says of a recording; of a long one the processing is that of its first piece.
struct Looked {
  RecordingQuality quality;
  Processing processing;
  std::vector<float> outline;
};

Looked look_at(const Recording& held, const LongRecording* pieces, const std::vector<SpeedAt>& speeds,
               std::size_t outline_parts) {
  if (!pieces) {
    const Processing processing = processing_of(held, speeds);
    return {with_problems_of(assess(held), processing), processing,
            outline_parts > 0 ? outline(held, outline_parts) : std::vector<float>()};
  }
  QualityOfPieces quality;
  Processing processing;
  (void)pieces->read([&](std::size_t i, const Recording& piece) {
    if (i == 0) processing = processing_of(piece, speeds);
    quality.add(piece);
    return true;
  });
  return {with_problems_of(quality.whole(), processing), processing,
          outline_parts > 0 ? outline(*pieces, outline_parts) : std::vector<float>()};
}

Outcome check_recording(const Options& given) {
  const auto sound = load_sound(given.file);
  if (!sound) return sound.error();
  const Recording& held = sound->recording;
  const Looked looked = look_at(held, sound->pieces.get(), {}, given.outline);
  return deliver(check_text(held, looked.quality, {}, looked.processing, sound->duration()),
                 check_json(held, looked.quality, {}, looked.outline, looked.processing), given.json);
}

// As stated, where that says how it changed; times from the start of the run.
std::vector<SpeedAt> speeds_of(const StatedSpeed& stated) {
  const bool over_time = stated.source == SpeedSource::needle || stated.source == SpeedSource::satellite;
  std::vector<SpeedAt> out;
  if (over_time && !stated.own_clock && stated.points.size() > 1)
    for (const SpeedPoint& point : stated.points) out.push_back({point.time, point.speed});
  return out;
}

struct RunCheck {
  std::string text, json;
};

RunCheck check_of(const Car& car, const RunSound& sound, std::size_t outline_parts) {
  const Recording& held = sound.recording;
  const Looked looked = look_at(held, sound.pieces.get(), speeds_of(sound.run.speed), outline_parts);
  const SpeedCheck speed{sound.run.speed, sound.pieces
                                              ? tracked_in_pieces(car, sound)
                                              : track(held.samples, held.sample_rate, car, sound.run)};
  return {check_text(held, looked.quality, speed, looked.processing, length_of(sound)),
          check_json(held, looked.quality, speed, looked.outline, looked.processing)};
}

// With car, gear and speed the sound is asked about them too.
Outcome check_run(const Options& given) {
  if (given.car.empty())
    return usage(
        "--car is missing; gear and speed can only be checked against a car, such as --car CAR.toml");
  const auto test = single_run(given);
  if (!test) return test.error();
  const auto sounds = sounds_of(*test);
  if (!sounds) return sounds.error();
  const RunCheck check = check_of(test->car, sounds->front(), given.outline);
  return deliver(check.text, check.json, given.json);
}

// Over all of a piece of sound the speed changes more than within a run.
Result<Processing> processing_of_piece(const Bundle& bundle, const BundleSound& sound) {
  constexpr Seconds looked_at{300.0};
  const auto recording = load_sound(*sound.copy, {Seconds(0.0), looked_at}, {looked_at, looked_at},
                                    bundle.file + "/" + sound.name);
  if (!recording) return recording.error();
  std::vector<SpeedAt> speeds;
  if (bundle.track && sound.clock.size() == 1)
    for (const SpeedPoint& point : bundle.track->points)
      speeds.push_back({Seconds(sound.clock[0].frame_at(point.time) / sound.rate_hz), point.speed});
  return processing_of(recording->recording, speeds);
}

// Its runs are checked against the car where there is one.
Outcome check_bundle(const Options& given) {
  const auto bundle = load_bundle(given.file);
  if (!bundle) return bundle.error();
  BundleCheck check, machine;
  for (const BundleSound& sound : bundle->sounds) {
    const auto processing = processing_of_piece(*bundle, sound);
    if (!processing) return processing.error();
    check.processing.push_back(*processing);
  }
  const BundleRuns found = runs_of(*bundle);
  check.left_out = found.left_out;
  machine = check;
  if (!found.runs.empty() && (!given.car.empty() || !bundle->car_text.empty())) {
    const auto test = road_test_with(*bundle, given.car);
    if (!test) return test.error();
    const auto sounds = sounds_of(*test);
    if (!sounds) return sounds.error();
    for (const RunSound& sound : *sounds) {
      const RunCheck run = check_of(test->car, sound, given.outline);
      check.runs.push_back(fmt::format("Run {}, gear {}, {}, {}, from {:.1f} s to {:.1f} s of\n",
                                       check.runs.size() + 1, sound.run.gear.label, to_text(sound.run.load),
                                       to_text(sound.run.turn), sound.run.from->value(),
                                       sound.run.to->value()) +
                           run.text);
      machine.runs.push_back(run.json);
    }
    check.left_out = machine.left_out = test->left_out;
  }
  return deliver(bundle_text(*bundle, check), bundle_json(*bundle, machine), given.json);
}

}  // namespace

void add_check(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command = app.add_subcommand("check", "whether a recording is good enough, and what to do again");
  command->add_option("recording", given->file, "a sound or video file, or a road-test bundle")
      ->required()
      ->type_name("RECORDING|BUNDLE.zip");
  add_run_options(*command, *given);
  command
      ->add_option("--outline", given->outline,
                   "in the machine form also the loudest sample of each of N parts, to draw the recording")
      ->type_name("N")
      ->check(CLI::Range(1, 10000));
  add_json_option(*command, given->json);
  command->footer(
      "With car, gear, load and speed it also says what the needle's error is, and whether gear and speed "
      "fit.\n"
      "Of a bundle, what the phone was asked and did, gaps, clock, and each run.\n"
      "Examples:\n"
      "  gearhark check samples/pinion_bearing/run1.m4a\n"
      "  gearhark check --car models/heron_rear_transaxle.toml --speed 65km/h --gear 3 --load drive \\\n"
      "    samples/pinion_bearing/run1.m4a");
  command->callback([given, &chosen] {
    chosen = [given]() -> Outcome {
      if (!looks_like_bundle(given->file)) return given->any() ? check_run(*given) : check_recording(*given);
      if (given->any_but_car())
        return usage(given->file +
                     ": a bundle says gear, load, speed and times itself; leave the options out");
      return check_bundle(*given);
    };
  });
}

}  // namespace gearhark::cli
