// The options that describe one run, shared by the commands that look at a recording.
#pragma once

#include <CLI/CLI.hpp>
#include <string>

#include "gearhark/diagnosis/bundle.hpp"
#include "gearhark/diagnosis/road_test.hpp"

namespace gearhark::cli {

struct RunOptions {
  std::string file, car, gear, load, turn = "straight", clutch = "engaged";
  std::string speed, speed_source = "needle", speed_between, engine_speed, shaft_rate, from, to;
  // Whether anything was said that turn and clutch do not have by themselves.
  [[nodiscard]] bool any() const { return any_but_car() || !car.empty(); }
  [[nodiscard]] bool any_but_car() const {
    return !(gear + load + speed + speed_between + engine_speed + shaft_rate + from + to).empty();
  }
};

// Everything but the file.
void add_run_options(CLI::App& command, RunOptions& given);

// A road test of the one run that the options describe; reads the car file. Errors of usage name the option.
Result<RoadTest> single_run(const RunOptions& given);

// A road-test file, or a bundle, whose car may be named beside it ("": that of the bundle).
Result<RoadTest> road_test_with(const std::string& file, const std::string& car);
Result<RoadTest> road_test_with(const Bundle& bundle, const std::string& car);
// Whether a file is one of those, not a recording.
bool names_a_road_test(const std::string& file);
void add_bundle_car_option(CLI::App& command, std::string& car);

}  // namespace gearhark::cli
