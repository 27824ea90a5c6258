#include "run_options.hpp"

#include <algorithm>

#include "arguments.hpp"

namespace gearhark::cli {
namespace {

template <std::size_t N>
std::size_t place_in(const std::array<std::string_view, N>& words, const std::string& word) {
  return static_cast<std::size_t>(std::find(words.begin(), words.end(), word) - words.begin());
}

Result<StatedSpeed> stated_speed(const RunOptions& given) {
  const auto said = {&given.speed, &given.speed_between, &given.engine_speed, &given.shaft_rate};
  if (std::count_if(said.begin(), said.end(), [](const auto* text) { return !text->empty(); }) != 1)
    return usage(
        "give one of --speed (such as 45mph), --speed-between, --engine-speed and --shaft-rate (a bench "
        "spin, "
        "such as 1797rpm)");
  if (!given.shaft_rate.empty()) return option("--shaft-rate", stated_shaft_rate(given.shaft_rate));
  if (!given.engine_speed.empty()) return option("--engine-speed", stated_engine_speed(given.engine_speed));
  if (!given.speed_between.empty())
    return option("--speed-between", parse_speed_between(given.speed_between));
  auto speed = option("--speed", parse_stated_speed(given.speed));
  if (speed && given.speed_source == "satellite") speed->source = SpeedSource::satellite;
  return speed;
}

std::optional<Error> set_time(std::string_view name, const std::string& text, std::optional<Seconds>& time) {
  if (text.empty()) return std::nullopt;
  const auto parsed = option(name, parse_time(text));
  if (!parsed) return parsed.error();
  time = *parsed;
  return std::nullopt;
}

// The single run that the options describe.
Result<Run> run_of(const RunOptions& given) {
  if (given.gear.empty()) return usage("--gear is missing; add it, such as --gear 3 or --gear N");
  const bool neutral = Gear{given.gear}.neutral();
  if (given.load.empty() && !neutral)
    return usage("--load is missing; add it: drive, float, coast or neutral");
  Run run;
  run.file = given.file;
  run.gear = {given.gear};
  run.load = given.load.empty() ? Load::neutral : static_cast<Load>(place_in(load_words, given.load));
  run.turn = static_cast<Turn>(place_in(turn_words, given.turn));
  run.clutch = given.clutch == "engaged" ? Clutch::engaged : Clutch::pedal_down;
  const auto speed = stated_speed(given);
  if (!speed) return speed.error();
  run.speed = *speed;
  if (auto error = set_time("--from", given.from, run.from)) return *error;
  if (auto error = set_time("--to", given.to, run.to)) return *error;
  if (run.from && run.to && *run.from >= *run.to)
    return usage("--to is not after --from; swap or correct them");
  return run;
}

}  // namespace

Result<RoadTest> single_run(const RunOptions& given) {
  auto run = run_of(given);
  if (!run) return run.error();
  auto car = car_named(given.car);
  if (!car) return car.error();
  if (const auto why = impossible(*car, *run)) return usage(*why);
  return RoadTest{*std::move(car), given.car, "", {*std::move(run)}, {}};
}

bool names_a_road_test(const std::string& file) { return file.ends_with(".toml") || looks_like_bundle(file); }

Result<RoadTest> road_test_with(const std::string& file, const std::string& car_file) {
  if (!looks_like_bundle(file) && !car_file.empty())
    return usage(file + ": a road-test file names its car itself; leave --car out");
  if (car_file.empty()) return load_road_test(file);
  const auto bundle = load_bundle(file);
  if (!bundle) return bundle.error();
  return road_test_with(*bundle, car_file);
}

Result<RoadTest> road_test_with(const Bundle& bundle, const std::string& car_file) {
  if (car_file.empty()) return road_test_of(bundle);
  auto car = car_named(car_file);
  if (!car) return car.error();
  return road_test_of(bundle, *std::move(car), car_file);
}

void add_bundle_car_option(CLI::App& command, std::string& car) {
  command.add_option("--car", car, "the car of a bundle that holds none, or another than it holds")
      ->type_name("CAR.toml");
}

void add_run_options(CLI::App& command, RunOptions& given) {
  command.add_option("--car", given.car, "the car file")->type_name("CAR.toml");
  command.add_option("--gear", given.gear, "3, R, N, \"4 overdrive\", ...")->type_name("GEAR");
  command.add_option("--load", given.load, "drive, float, coast or neutral")
      ->type_name("LOAD")
      ->check(CLI::IsMember(std::vector<std::string>(load_words.begin(), load_words.end())));
  command.add_option("--turn", given.turn, "straight (when left out), left or right")
      ->type_name("TURN")
      ->check(CLI::IsMember(std::vector<std::string>(turn_words.begin(), turn_words.end())));
  command.add_option("--clutch", given.clutch, "engaged (when left out) or \"pedal down\"")
      ->type_name("CLUTCH")
      ->check(CLI::IsMember(std::vector<std::string>{"engaged", "pedal down"}));
  command
      .add_option("--speed", given.speed,
                  "45mph; \"30mph to 60mph\" from start to end; \"0:00 30mph, 0:20 50mph\" at times")
      ->type_name("SPEED");
  command.add_option("--speed-source", given.speed_source, "needle (when left out) or satellite")
      ->type_name("SOURCE")
      ->check(CLI::IsMember(std::vector<std::string>{"needle", "satellite"}));
  command
      .add_option("--shaft-rate", given.shaft_rate,
                  "instead of a speed, on a bench: turns of the driven wheels' shafts, such as 1797rpm")
      ->type_name("RATE");
  command
      .add_option("--speed-between", given.speed_between,
                  "instead of a speed, where nothing better is known: \"30mph and 60mph\"")
      ->type_name("RANGE");
  command
      .add_option("--engine-speed", given.engine_speed,
                  "instead of a speed, what the rev counter showed in gear, such as 2500rpm")
      ->type_name("RATE");
  command.add_option("--from", given.from, "start of the part to use, such as 0:05")->type_name("TIME");
  command.add_option("--to", given.to, "end of the part to use")->type_name("TIME");
}

}  // namespace gearhark::cli
