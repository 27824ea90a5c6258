#include "gearhark/report/check.hpp"

#include <memory>

#include "arguments.hpp"
#include "commands.hpp"
#include "gearhark/diagnosis/hearing.hpp"
#include "gearhark/recording/outline.hpp"
#include "output.hpp"
#include "road_test_sounds.hpp"
#include "run_options.hpp"

namespace gearhark::cli {
namespace {

struct Options : RunOptions {
  std::string json;
  std::size_t outline = 0;
};

RecordingQuality quality_of(const Recording& held, const LongRecording* pieces) {
  if (!pieces) return assess(held);
  QualityOfPieces quality;
  (void)pieces->read([&](std::size_t, const Recording& piece) {
    quality.add(piece);
    return true;
  });
  return quality.whole();
}

std::vector<float> outline_of(const Options& given, const Recording& held, const LongRecording* pieces) {
  if (given.outline == 0) return {};
  return pieces ? outline(*pieces, given.outline) : outline(held, given.outline);
}

Outcome check_recording(const Options& given) {
  const auto sound = load_sound(given.file);
  if (!sound) return sound.error();
  const RecordingQuality quality = quality_of(sound->recording, sound->pieces.get());
  return deliver(
      check_text(sound->recording, quality, {}, sound->duration()),
      check_json(sound->recording, quality, {}, outline_of(given, sound->recording, sound->pieces.get())),
      given.json);
}

Tracking speed_of(const RunSound& sound, const Car& car) {
  if (sound.pieces) return tracked_in_pieces(car, sound);
  return track(sound.recording.samples, sound.recording.sample_rate, car, sound.run);
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
  const RunSound& sound = sounds->front();
  const Recording& part = sound.recording;
  const RecordingQuality quality = quality_of(part, sound.pieces.get());
  const SpeedCheck speed{sound.run.speed, speed_of(sound, test->car)};
  return deliver(check_text(part, quality, speed, length_of(sound)),
                 check_json(part, quality, speed, outline_of(given, part, sound.pieces.get())), given.json);
}

}  // namespace

void add_check(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command = app.add_subcommand("check", "whether a recording is good enough, and what to do again");
  command->add_option("recording", given->file, "a sound or video file")->required()->type_name("RECORDING");
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
      "Examples:\n"
      "  gearhark check samples/pinion_bearing/run1.m4a\n"
      "  gearhark check --car models/heron_rear_transaxle.toml --speed 65km/h --gear 3 --load drive \\\n"
      "    samples/pinion_bearing/run1.m4a");
  command->callback([given, &chosen] {
    chosen = [given] { return given->any() ? check_run(*given) : check_recording(*given); };
  });
}

}  // namespace gearhark::cli
