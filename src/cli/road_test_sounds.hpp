// The recordings of a road test, decoded and cut to their runs.
#pragma once

#include <fmt/format.h>

#include <vector>

#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/diagnosis/road_test.hpp"

namespace gearhark::cli {

// For commands whose result has no place for it: on standard error, a line each.
inline void tell_left_out(const RoadTest& test) {
  for (const std::string& sentence : test.left_out) fmt::print(stderr, "{}\n", sentence);
}

inline Result<std::vector<RunSound>> sounds_of(const RoadTest& test) {
  std::vector<RunSound> sounds;
  for (const Run& run : test.runs) {
    auto loaded = load_sound(run.sound(), {run.from.value_or(Seconds(0.0)), run.to}, {}, run.file);
    if (!loaded) return loaded.error();
    auto sound = run_sound(run, *std::move(loaded));
    if (!sound) return sound.error();
    sounds.push_back(*std::move(sound));
  }
  return sounds;
}

}  // namespace gearhark::cli
