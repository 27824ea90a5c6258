// The recordings of a road test, decoded and cut to their runs.
#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/diagnosis/road_test.hpp"

namespace gearhark::cli {

// For commands whose result has no place for it: on standard error, a line each.
inline void tell_left_out(const RoadTest& test) {
  for (const std::string& sentence : test.left_out) fmt::print(stderr, "{}\n", sentence);
}

// Runs that lie one after the other in one file are decoded together.
inline Result<std::vector<RunSound>> sounds_of(const RoadTest& test) {
  std::vector<RunSound> sounds;
  for (auto first = test.runs.begin(); first != test.runs.end();) {
    const auto end = first->copy ? std::find_if(first, test.runs.end(),
                                                [&](const Run& run) { return run.copy != first->copy; })
                                 : first + 1;
    std::vector<Cut> cuts;
    for (auto run = first; run != end; ++run) cuts.push_back({run->from.value_or(Seconds(0.0)), run->to});
    auto recordings = load_parts(first->sound(), cuts, first->file);
    if (!recordings) return recordings.error();
    for (Recording& recording : *recordings) {
      const Run& run = *first++;
      auto sound = run_sound(run, std::move(recording), run.from.value_or(Seconds(0.0)));
      if (!sound) return sound.error();
      sounds.push_back(*std::move(sound));
    }
  }
  return sounds;
}

}  // namespace gearhark::cli
