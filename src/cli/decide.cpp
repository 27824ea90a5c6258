#include "gearhark/report/decide.hpp"

#include <memory>

#include "arguments.hpp"
#include "commands.hpp"
#include "gearhark/units/files.hpp"
#include "output.hpp"
#include "road_test_sounds.hpp"
#include "run_options.hpp"

namespace gearhark::cli {
namespace {

struct Options {
  std::string file, prices, car, json;
};

struct Basis {
  Car car;
  Chances chances;
};

Result<Basis> from_road_test(const Options& given) {
  auto test = road_test_with(given.file, given.car);
  if (!test) return test.error();
  tell_left_out(*test);
  const auto sounds = sounds_of(*test);
  if (!sounds) return sounds.error();
  const Diagnosis diagnosis = diagnose(test->car, *sounds);
  if (diagnosis.suspects.empty()) return nothing_known(given.file);
  return Basis{std::move(test->car), chances_of(diagnosis)};
}

Result<Basis> from_json(const Options& given) {
  if (given.car.empty()) return usage(given.file + ": a diagnosis needs --car CAR.toml beside it");
  auto car = car_named(given.car);
  if (!car) return car.error();
  const auto text = text_of_file(given.file, "the diagnosis");
  if (!text) return text.error();
  auto chances = read_chances(*text, given.file);
  if (!chances) return chances.error();
  return Basis{*std::move(car), *std::move(chances)};
}

Outcome decide_all(const Options& given) {
  const auto basis = names_a_road_test(given.file) ? from_road_test(given) : from_json(given);
  if (!basis) return basis.error();
  const auto prices = load_prices(given.prices, basis->car);
  if (!prices) return prices.error();
  const Decision decision = decide(basis->car, basis->chances, *prices);
  return deliver(decision_text(decision), decision_json(decision), given.json);
}

}  // namespace

void add_decide(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command =
      app.add_subcommand("decide", "rebuild, used unit, one bearing or drive on: what each costs");
  command->add_option("file", given->file, "a road-test file or bundle, or the JSON of a diagnosis")
      ->required()
      ->type_name("ROADTEST.toml|BUNDLE.zip|DIAGNOSIS.json");
  command->add_option("--prices", given->prices, "the shop's prices, hours and chances")
      ->required()
      ->type_name("PRICES.toml");
  command->add_option("--car", given->car, "the car file, with a JSON diagnosis or a bundle that holds none")
      ->type_name("CAR.toml");
  add_json_option(*command, given->json);
  command->footer(
      "The prices file:\n"
      "  currency = \"EUR\"\n"
      "  hour = 65                          # what an hour of the shop costs\n"
      "  rebuild = { price = 780, hours = 24 }\n"
      "  used_unit = { price = 350, hours = 9, bad = \"25 %\" }\n"
      "  drive_on = { hours = 0.5, worse = \"20 %\", failure = 1600 }\n"
      "  elsewhere = { price = 150, hours = 3 }\n"
      "  [[bearing]]\n"
      "  parts = [\"pinion_head_bearing\"]\n"
      "  price = 60\n"
      "  hours = 14\n\n"
      "Example:\n"
      "  gearhark decide samples/pinion_bearing/ROADTEST.toml --prices samples/decide/prices.toml");
  command->callback([given, &chosen] { chosen = [given] { return decide_all(*given); }; });
}

}  // namespace gearhark::cli
