#include <memory>

#include "arguments.hpp"
#include "commands.hpp"
#include "gearhark/diagnosis/road_test.hpp"
#include "gearhark/report/diagnosis.hpp"
#include "output.hpp"
#include "road_test_sounds.hpp"

namespace gearhark::cli {
namespace {

struct Options {
  std::string file, car, gear, load, turn = "straight", clutch = "engaged";
  std::string speed, speed_source = "needle", shaft_rate, from, to, json;
};

template <std::size_t N>
std::size_t place_in(const std::array<std::string_view, N>& words, const std::string& word) {
  return static_cast<std::size_t>(std::find(words.begin(), words.end(), word) - words.begin());
}

Result<StatedSpeed> stated_speed(const Options& given) {
  if (given.speed.empty() == given.shaft_rate.empty())
    return usage("give one of --speed (such as 45mph) and --shaft-rate (a bench spin, such as 1797rpm)");
  if (!given.shaft_rate.empty()) return option("--shaft-rate", stated_shaft_rate(given.shaft_rate));
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
Result<Run> run_of(const Options& given) {
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

Result<RoadTest> single_run(const Options& given) {
  auto run = run_of(given);
  if (!run) return run.error();
  auto car = load_car(given.car);
  if (!car) return car.error();
  if (const auto why = impossible(*car, *run)) return usage(*why);
  return RoadTest{*std::move(car), given.car, "", {*std::move(run)}};
}

bool names_a_road_test(const std::string& file) { return file.ends_with(".toml"); }

Result<RoadTest> road_test(const Options& given) {
  const bool several = names_a_road_test(given.file);
  if (several &&
      !(given.car + given.gear + given.load + given.speed + given.shaft_rate + given.from + given.to).empty())
    return usage(given.file +
                 ": a road-test file says car, gear, load, speed and times itself; leave the options out");
  if (!several && given.car.empty())
    return usage(given.file + ": a recording needs --car CAR.toml (and a road-test file ends in .toml)");
  return several ? load_road_test(given.file) : single_run(given);
}

Outcome diagnose_all(const Options& given) {
  const auto test = road_test(given);
  if (!test) return test.error();
  const auto sounds = sounds_of(*test);
  if (!sounds) return sounds.error();
  const Diagnosis diagnosis = diagnose(test->car, *sounds);
  return deliver(diagnosis_text(diagnosis), diagnosis_json(diagnosis), given.json);
}

void add_run_options(CLI::App& command, Options& given) {
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
  command.add_option("--from", given.from, "start of the part to use, such as 0:05")->type_name("TIME");
  command.add_option("--to", given.to, "end of the part to use")->type_name("TIME");
}

}  // namespace

void add_diagnose(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command = app.add_subcommand("diagnose", "which part is making the noise");
  command->add_option("file", given->file, "a road-test file, or one recording with the options below")
      ->required()
      ->type_name("ROADTEST.toml|RECORDING");
  add_run_options(*command, *given);
  add_json_option(*command, given->json);
  command->footer(
      "Examples:\n"
      "  gearhark diagnose samples/pinion_bearing/ROADTEST.toml\n"
      "  gearhark diagnose --car models/heron_rear_transaxle.toml --speed 65km/h --gear 3 --load drive \\\n"
      "    samples/pinion_bearing/run1.m4a");
  command->callback([given, &chosen] { chosen = [given] { return diagnose_all(*given); }; });
}

}  // namespace gearhark::cli
