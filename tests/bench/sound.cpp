// Makes the sound that the benchmark runs on: the pinion bearing sample's car and fault, as long as asked
// for.
//   bench_sound MODELS_FOLDER SECONDS OUT.wav [steady|varying [LEVEL_DB [RUN_SEED]]]
// varying: between 47 and 77 km/h, up and down in seven minutes, besides the driver's wander; its speed as a
// satellite log is written to OUT.wav.csv.
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <numbers>
#include <random>
#include <string>

#include "gearhark/synthesis/synthesis.hpp"

namespace {

using namespace gearhark;

constexpr double step_s = 0.001;
constexpr double most_at_once_s = 600.0;  // that synthesise() makes

struct Drive {
  std::vector<double> speed;  // m/s, every step_s
};

// One drive without a seam: a wander of 0.6 % that takes some seconds.
Drive drive_of(double seconds, bool varying, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  Drive out;
  const double memory = std::exp(-step_s / 6.0);
  double wander = 0.0, slow = 0.0;
  for (double t = 0.0; t <= seconds + step_s; t += step_s) {
    wander = memory * wander + std::sqrt(1.0 - memory * memory) * normal(random);
    slow += step_s / 2.0 * (wander - slow);  // without jerks
    const double swing = varying ? 15.0 * std::sin(2.0 * std::numbers::pi * t / 420.0) : 0.0;
    out.speed.push_back((62.0 + swing) / 3.6 * (1.0 + 0.006 * slow));
  }
  return out;
}

Motion motion_from(const Drive& drive, double from_s, double seconds, double turns_per_metre) {
  Motion motion;
  const auto first = static_cast<std::size_t>(std::lround(from_s / step_s));
  const auto count = static_cast<std::size_t>(std::lround(seconds / step_s));
  double turns = 0.0;
  for (std::size_t i = 0; i < count; ++i) {
    motion.wheel.push_back(turns);
    turns += drive.speed[std::min(first + i, drive.speed.size() - 1)] * turns_per_metre * step_s;
  }
  motion.engine.assign(count, 0.0);
  motion.bend.assign(count, 0.0);
  return motion;
}

bool write_log(const std::string& path, const Drive& drive, std::uint64_t seed) {
  std::mt19937_64 random(seed + 1);
  std::normal_distribution<double> noise(0.0, 0.15);
  std::FILE* file = std::fopen(path.c_str(), "w");
  if (!file) return false;
  std::fprintf(file, "time_s,speed_mps\n");
  for (std::size_t s = 0; s * 1000 < drive.speed.size(); ++s)
    std::fprintf(file, "%zu,%.2f\n", s, drive.speed[s < 1 ? 0 : (s - 1) * 1000] + noise(random));
  return std::fclose(file) == 0;
}

}  // namespace

int main(int count, char** words) {
  if (count < 4) return 2;
  const auto car = load_car(std::string(words[1]) + "/heron_rear_transaxle.toml");
  if (!car) return 1;
  const double seconds = std::atof(words[2]);
  const bool varying = count > 4 && std::string(words[4]) == "varying";
  std::uint64_t seed = count > 6 ? std::strtoull(words[6], nullptr, 10) : 321;
  SoundSettings settings;
  settings.run.gear = Gear{"3"};
  settings.run.speed = Speed(62.0 / 3.6);
  settings.car_seed = 32;
  SoundFault fault;
  fault.part = "pinion_head_bearing";
  fault.level = Decibels::already(count > 5 ? std::atof(words[5]) : 9.0);
  settings.fault = fault;
  const Drive driven = drive_of(seconds, varying, seed);
  const double turns_per_metre = 1.0 / car->tyre.rolling_circumference.value();
  Sound all;
  for (double from = 0.0; from < seconds; from += most_at_once_s) {
    const double length = std::min(most_at_once_s, seconds - from);
    settings.run.duration = Seconds(length);
    settings.run_seed = seed++;
    if (varying || seconds > most_at_once_s)
      settings.run.motion = motion_from(driven, from, length, turns_per_metre);
    const auto sound = synthesise(*car, settings);
    if (!sound) {
      std::fprintf(stderr, "bench_sound: %s\n", sound.error().sentence.c_str());
      return 1;
    }
    all.samples.insert(all.samples.end(), sound->samples.begin(), sound->samples.end());
  }
  if (write_wav(words[3], all) || (varying && !write_log(std::string(words[3]) + ".csv", driven, seed))) {
    std::fprintf(stderr, "bench_sound: no sound written\n");
    return 1;
  }
  return 0;
}
