// Makes the sound that the benchmark runs on: the pinion bearing sample's car and fault, as long as asked for.
//   bench_sound MODELS_FOLDER SECONDS OUT.wav
#include <cstdio>
#include <cstdlib>
#include <string>

#include "gearhark/synthesis/synthesis.hpp"

int main(int count, char** words) {
  using namespace gearhark;
  if (count != 4) return 2;
  const auto car = load_car(std::string(words[1]) + "/heron_rear_transaxle.toml");
  if (!car) return 1;
  SoundSettings settings;
  settings.run.gear = Gear{"3"};
  settings.run.speed = Speed(62.0 / 3.6);
  settings.run.duration = Seconds(std::atof(words[2]));
  settings.car_seed = 32;
  settings.run_seed = 321;
  SoundFault fault;
  fault.part = "pinion_head_bearing";
  fault.level = Decibels::already(9.0);
  settings.fault = fault;
  const auto sound = synthesise(*car, settings);
  if (!sound || write_wav(words[3], *sound)) {
    std::fprintf(stderr, "bench_sound: no sound made\n");
    return 1;
  }
  return 0;
}
