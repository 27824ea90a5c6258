#include "gearhark/report/listen.hpp"

#include <memory>

#include "arguments.hpp"
#include "commands.hpp"
#include "gearhark/diagnosis/motion.hpp"
#include "output.hpp"
#include "road_test_sounds.hpp"
#include "run_options.hpp"
#include "waiting.hpp"

namespace gearhark::cli {
namespace {

struct Options {
  std::string file, car, part, fault, out, json;
  std::size_t run = 0;
  bool half_speed = false, imagine = false, beat = false;
};

constexpr double imagined_db = 12.0;  // clearly there, as a customer's would be

Result<ListenSettings> settings_of(const Options& given) {
  const auto fault = fault_option(given.fault);
  if (!fault) return fault.error();
  ListenSettings out{given.part, *fault, {}, given.beat ? Emphasis::beat : Emphasis::none};
  if (given.run > 0) out.run = given.run - 1;
  return out;
}

// Written at half the rate, the same samples play at half speed.
std::optional<Error> write(const std::string& path, std::vector<float> samples, double rate_hz,
                           bool half_speed) {
  Sound sound;
  sound.sample_rate = half_speed ? 0.5 * rate_hz : rate_hz;
  sound.samples = std::move(samples);
  return write_wav(path, sound);
}

// The shafts turn as they did in the run.
Result<Sound> imagined(const Car& car, const Run& run, const Listening& heard) {
  SoundSettings settings;
  settings.run.gear = run.gear;
  settings.run.clutch = run.clutch;
  settings.run.load = run.load;
  settings.run.turn = run.turn;
  settings.run.motion = motion_found(heard.tracking, 0.0);
  settings.fault = SoundFault{};
  settings.fault->part = heard.part;
  settings.fault->fault = heard.fault;
  settings.fault->level = Decibels::already(imagined_db);
  return synthesise(car, settings);
}

std::string beside(const std::string& file, const std::string& what) {
  const auto dot = file.rfind(".wav");
  return (dot == std::string::npos ? file : file.substr(0, dot)) + what + ".wav";
}

Outcome listen_to_part(const Options& given) {
  const auto settings = settings_of(given);
  if (!settings) return settings.error();
  const auto test = road_test_with(given.file, given.car);
  if (!test) return test.error();
  tell_left_out(*test);
  Waiting waiting("reading the recordings");
  const auto sounds = sounds_of(*test);
  if (!sounds) return sounds.error();
  waiting.now("listening to the runs");
  const auto heard = listen(test->car, *sounds, *settings);
  if (!heard) return heard.error();
  waiting.now("making the sounds");
  WrittenSounds files{given.out, given.half_speed, "", ""};
  if (auto error = write(given.out, heard->samples, heard->rate_hz, given.half_speed)) return error;
  if (given.imagine) {
    auto sound = imagined(test->car, test->runs[heard->run], *heard);
    if (!sound) return sound.error();
    files.imagined = beside(given.out, "_imagined");
    files.imagined_alone = beside(given.out, "_imagined_alone");
    if (auto error =
            write(files.imagined, gain_matched(sound->samples), sound->sample_rate, given.half_speed))
      return error;
    if (auto error = write(files.imagined_alone, gain_matched(sound->fault_share), sound->sample_rate,
                           given.half_speed))
      return error;
  }
  waiting.done();
  return deliver(listening_text(*heard, files), listening_json(*heard, files), given.json);
}

}  // namespace

void add_listen(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command = app.add_subcommand("listen", "the suspect's sound alone, as a sound file");
  command->add_option("file", given->file, "the road test")
      ->required()
      ->type_name("ROADTEST.toml|BUNDLE.zip");
  add_bundle_car_option(*command, given->car);
  command->add_option("--out", given->out, "where to write the sound")->required()->type_name("FILE.wav");
  command->add_option("--part", given->part, "part ID; the likeliest suspect when left out")
      ->type_name("PART");
  command->add_option("--fault", given->fault, "such as \"outer race\"; the one heard best when left out")
      ->type_name("FAULT");
  command
      ->add_option("--run", given->run,
                   "number of the run; the one in which it should be loudest when left out")
      ->type_name("N")
      ->check(CLI::PositiveNumber);
  command->add_flag("--half-speed", given->half_speed, "an octave down and twice as long");
  command->add_flag("--beat", given->beat,
                    "louder in step with the fault's knocks, quieter in between; noise stays as it is");
  command->add_flag("--imagine", given->imagine,
                    "also synthesise such a fault on this car at this speed, with road noise and without");
  add_json_option(*command, given->json);
  command->footer(
      "Example:\n  gearhark listen samples/pinion_bearing/ROADTEST.toml --out growl.wav --half-speed "
      "--imagine");
  command->callback([given, &chosen] { chosen = [given] { return listen_to_part(*given); }; });
}

}  // namespace gearhark::cli
