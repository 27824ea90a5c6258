// Makes the sample road tests: WAV files, to be encoded by samples/make, and the ROADTEST.toml of each.
//   gearhark_make_samples MODELS_FOLDER OUTPUT_FOLDER
#include <fmt/format.h>

#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>

#include "gearhark/synthesis/synthesis.hpp"

namespace {

using namespace gearhark;

struct SampleRun {
  const char* gear;
  Load load;
  Turn turn;
  double true_kmh;
};

struct Sample {
  const char* folder;
  const char* model;
  const char* extension;  // what the phone makes of it
  const char* notes;      // as the mechanic wrote them; what it is stands in samples/README.md
  std::uint64_t seed;
  std::optional<SoundFault> fault;
  std::vector<SampleRun> runs;
  std::uint64_t runs_before =
      0;  // made for another sample of this car and seed: other wander, noise and bumps
  double seconds = 22.0;
};

SoundFault fault(const char* part, Fault kind, double level_db) {
  SoundFault made;
  made.part = part;
  made.fault = kind;
  made.level = Decibels::already(level_db);
  return made;
}

// clang-format off
const std::vector<Sample> samples{
    {"pinion_bearing", "heron_rear_transaxle", "m4a", "A growl that grew over a month, worst under power.", 32,
     fault("pinion_head_bearing", Fault::outer_race, 9.0),
     {{"3", Load::drive, Turn::straight, 62.0},
      {"4", Load::drive, Turn::straight, 68.0},
      {"3", Load::coast, Turn::straight, 64.0}}},
    {"pinion_repaired", "heron_rear_transaxle", "opus", "After a new pinion head bearing.", 32, {},
     {{"3", Load::drive, Turn::straight, 62.5},
      {"4", Load::drive, Turn::straight, 67.5}}, 3, 18.0},
    {"healthy", "plover_live_axle_overdrive", "opus", "No complaint: a check after buying the car.", 12, {},
     {{"3", Load::drive, Turn::straight, 55.0},
      {"4", Load::drive, Turn::straight, 76.0},
      {"N", Load::neutral, Turn::straight, 60.0}}},
    {"wheel_bearing", "plover_live_axle_overdrive", "m4a", "A rumble at the back, worst in right-hand bends.", 13,
     fault("wheel_bearing_rl", Fault::inner_race, 9.0),
     {{"4", Load::drive, Turn::straight, 72.0},
      {"3", Load::floating, Turn::right, 52.0},
      {"3", Load::floating, Turn::left, 52.0}}},
    {"worn_gears", "dunlin_front_drive", "3gp", "A whine in third and in no other gear.", 21,
     fault("gear_pair_3", Fault::worn_teeth, 14.0),
     {{"3", Load::drive, Turn::straight, 50.0},
      {"3", Load::coast, Turn::straight, 54.0},
      {"4", Load::drive, Turn::straight, 62.0}}},
};
// clang-format on

constexpr double needle_reads_high = 1.045;

SoundSettings settings_of(const Sample& sample, const SampleRun& run, std::uint64_t number) {
  SoundSettings settings;
  settings.run.gear = Gear{run.gear};
  settings.run.load = run.load;
  settings.run.turn = run.turn;
  settings.run.speed = Speed(run.true_kmh / 3.6);
  settings.run.duration = Seconds(sample.seconds);
  settings.car_seed = sample.seed;
  settings.run_seed = 10 * sample.seed + number;
  settings.fault = sample.fault;
  return settings;
}

std::string recording_entry(const Sample& sample, const SampleRun& run, std::uint64_t number) {
  return fmt::format(
      "\n[[recording]]\nfile = \"run{}.{}\"\ngear = \"{}\"\nload = \"{}\"\nturn = \"{}\"\nspeed = \"{:.0f} "
      "km/h\"\n",
      number, sample.extension, run.gear, to_text(run.load), to_text(run.turn),
      run.true_kmh * needle_reads_high);
}

std::optional<Error> make(const Sample& sample, const std::filesystem::path& models,
                          const std::filesystem::path& out) {
  const auto car = load_car((models / (std::string(sample.model) + ".toml")).string());
  if (!car) return car.error();
  const auto folder = out / sample.folder;
  std::filesystem::create_directories(folder);
  std::string road_test =
      fmt::format("# Invented sound, made by samples/make.\ncar = \"../../models/{}.toml\"\nnotes = \"{}\"\n",
                  sample.model, sample.notes);
  std::uint64_t number = sample.runs_before;
  for (const SampleRun& run : sample.runs) {
    const auto sound = synthesise(*car, settings_of(sample, run, ++number));
    if (!sound) return sound.error();
    if (const auto error = write_wav((folder / fmt::format("run{}.wav", number)).string(), *sound))
      return error;
    road_test += recording_entry(sample, run, number);
    fmt::print("{}/run{}: {:.4f} wheel turns/s, fault {:.1f} dB\n", sample.folder, number,
               sound->truth.mean_wheel.value(), sound->truth.level ? sound->truth.level->value() : -INFINITY);
  }
  std::ofstream(folder / "ROADTEST.toml") << road_test;
  return std::nullopt;
}

}  // namespace

int main(int count, char** words) {
  if (count != 3) {
    fmt::print(stderr, "gearhark_make_samples MODELS_FOLDER OUTPUT_FOLDER\n");
    return 2;
  }
  for (const Sample& sample : samples)
    if (const auto error = make(sample, words[1], words[2])) {
      fmt::print(stderr, "{}\n", error->sentence);
      return 1;
    }
  return 0;
}
