#include "gearhark/report/confirm.hpp"

#include <fmt/format.h>

#include <memory>

#include "arguments.hpp"
#include "commands.hpp"
#include "gearhark/report/page.hpp"
#include "gearhark/units/files.hpp"
#include "output.hpp"
#include "road_test_sounds.hpp"
#include "run_options.hpp"

namespace gearhark::cli {
namespace {

struct Options {
  std::string file, car, suspect, fault, json, report;
  int injections = ConfirmSettings{}.injections;
};

std::string page_of(const Car& car, const std::vector<RunSound>& sounds, const Confirmation& confirmation) {
  Hearing hearing = hear(car, sounds);
  const Exhibits shown = exhibits_of_part(car, sounds, hearing, confirmation.part, confirmation.fault);
  const bool heard = confirmation.verdict == ConfirmVerdict::heard;
  return confirmation_page(confirmation, shown,
                           heard ? clips(car, sounds, hearing, shown) : std::vector<Clip>{});
}

Outcome confirm_suspect(const Options& given) {
  ConfirmSettings settings;
  settings.injections = given.injections;
  settings.progress = [](const std::string& words) { fmt::print(stderr, "{} ...\n", words); };
  const auto fault = fault_option(given.fault);
  if (!fault) return fault.error();
  settings.fault = *fault;
  const auto test = road_test_with(given.file, given.car);
  if (!test) return test.error();
  tell_left_out(*test);
  const auto sounds = sounds_of(*test);
  if (!sounds) return sounds.error();
  const auto confirmation = confirm(test->car, *sounds, given.suspect, settings);
  if (!confirmation) return confirmation.error();
  if (!given.report.empty())
    if (auto error = write_file(given.report, page_of(test->car, *sounds, *confirmation))) return error;
  return deliver(confirmation_text(*confirmation), confirmation_json(*confirmation), given.json);
}

}  // namespace

void add_confirm(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command =
      app.add_subcommand("confirm", "one suspect: for and against, and how loud it would have to be");
  command->add_option("file", given->file, "a road-test file or a bundle")
      ->required()
      ->type_name("ROADTEST.toml|BUNDLE.zip");
  add_bundle_car_option(*command, given->car);
  command->add_option("--suspect", given->suspect, "the part's ID in the car file")
      ->required()
      ->type_name("ID");
  command->add_option("--fault", given->fault, "such as \"outer race\"; the likeliest when left out")
      ->type_name("FAULT");
  command
      ->add_option("--injections", given->injections,
                   "faults put into each recording to see how loud one must be (12)")
      ->check(CLI::Range(0, 200))
      ->type_name("COUNT");
  add_json_option(*command, given->json);
  add_report_option(*command, given->report);
  command->footer(
      "Example:\n"
      "  gearhark confirm samples/pinion_bearing/ROADTEST.toml --suspect pinion_head_bearing");
  command->callback([given, &chosen] { chosen = [given] { return confirm_suspect(*given); }; });
}

}  // namespace gearhark::cli
