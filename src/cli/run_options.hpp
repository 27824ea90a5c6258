// The options that describe one run, shared by the commands that look at a recording.
#pragma once

#include <CLI/CLI.hpp>
#include <string>

#include "gearhark/diagnosis/road_test.hpp"

namespace gearhark::cli {

struct RunOptions {
  std::string file, car, gear, load, turn = "straight", clutch = "engaged";
  std::string speed, speed_source = "needle", speed_between, engine_speed, shaft_rate, from, to;
  // Whether anything was said that turn and clutch do not have by themselves.
  [[nodiscard]] bool any() const {
    return !(car + gear + load + speed + speed_between + engine_speed + shaft_rate + from + to).empty();
  }
};

// Everything but the file.
void add_run_options(CLI::App& command, RunOptions& given);

// A road test of the one run that the options describe; reads the car file. Errors of usage name the option.
Result<RoadTest> single_run(const RunOptions& given);

}  // namespace gearhark::cli
