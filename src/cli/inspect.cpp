#include "gearhark/report/inspect.hpp"

#include <memory>

#include "arguments.hpp"
#include "commands.hpp"
#include "output.hpp"

namespace gearhark::cli {
namespace {

struct Options {
  std::string car, resolution, json;
  std::vector<std::string> readings;
};

Outcome inspect_all(const Options& given) {
  std::vector<Measured> measured;
  for (const auto& words : given.readings) {
    const auto one = parse_measured(words);
    if (!one) return one.error();
    measured.push_back(*one);
  }
  std::optional<Length> step;
  if (!given.resolution.empty()) {
    const auto length = option("--resolution", parse_length(given.resolution));
    if (!length) return length.error();
    if (!(length->value.value() > 0.0))
      return usage("--resolution is not above zero; give the smallest step");
    step = length->value;
  }
  const auto car = car_named(given.car);
  if (!car) return car.error();
  const auto inspection = inspect(*car, measured, step);
  if (!inspection) return inspection.error();
  return deliver(inspection_text(*inspection), inspection_json(*inspection), given.json);
}

}  // namespace

void add_inspect(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command = app.add_subcommand("inspect", "measured clearances against new and limit values");
  command->add_option("car", given->car, "the car file, with its [[clearance]] entries")
      ->required()
      ->type_name("CAR.toml");
  command
      ->add_option("readings", given->readings,
                   "a clearance's ID and what was read, several places separated by commas")
      ->required()
      ->type_name("ID=READING[,READING...]");
  command
      ->add_option("--resolution", given->resolution,
                   "the instrument's smallest step, where the readings are written finer than that")
      ->type_name("LENGTH");
  add_json_option(*command, given->json);
  command->footer(
      "Example:\n"
      "  gearhark inspect models/heron_rear_transaxle.toml ring_and_pinion_backlash=0.008in,0.009in \\\n"
      "    wheel_bearing_end_float=0.11mm");
  command->callback([given, &chosen] { chosen = [given] { return inspect_all(*given); }; });
}

}  // namespace gearhark::cli
