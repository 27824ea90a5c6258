#include "gearhark/report/plan.hpp"

#include <memory>

#include "arguments.hpp"
#include "commands.hpp"
#include "gearhark/report/page.hpp"
#include "gearhark/units/files.hpp"
#include "output.hpp"

namespace gearhark::cli {
namespace {

struct Options {
  std::string car, unit, fastest, json, report;
  std::vector<std::string> suspects;
  bool no_bends = false;
};

// The unit asked for, else that of the limit, else km/h.
Result<RunLimits> limits_from(const Options& given) {
  RunLimits limits;
  if (!given.fastest.empty()) {
    const auto fastest = option("--fastest", parse_speed(given.fastest));
    if (!fastest) return fastest.error();
    if (fastest->value < limits.slowest || fastest->value > Speed(130.0 / 3.6))
      return usage(fmt::format("--fastest: {} is not between {} and {}, where road tests are planned",
                               given.fastest, to_text(limits.slowest, fastest->unit),
                               to_text(Speed(130.0 / 3.6), fastest->unit)));
    limits.fastest = fastest->value;
    if (fastest->unit == SpeedUnit::mph) limits.unit = SpeedUnit::mph;
  }
  if (!given.unit.empty()) limits.unit = given.unit == "mph" ? SpeedUnit::mph : SpeedUnit::kmh;
  limits.turns_allowed = !given.no_bends;
  return limits;
}

Outcome plan_card(const Options& given) {
  const auto limits = limits_from(given);
  if (!limits) return limits.error();
  const auto named = car_file_named(given.car);
  if (!named) return named.error();
  auto planned = plan(named->car, {given.suspects, *limits, {}});
  if (!planned) return planned.error();
  planned->car_file = named->text;
  if (!given.report.empty())
    if (auto error = write_file(given.report, plan_page(*planned))) return error;
  return deliver(plan_text(*planned), plan_json(*planned), given.json);
}

}  // namespace

void add_plan(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command =
      app.add_subcommand("plan", "a short road test that tells the suspects apart, as a card");
  command->add_option("car", given->car, "the car file")->required()->type_name("CAR.toml");
  command->add_option("--suspect", given->suspects, "parts to tell apart; every part when left out")
      ->type_name("ID[,ID...]")
      ->delimiter(',');
  command->add_option("--unit", given->unit, "of the speedometer: mph or km/h; that of --fastest, or km/h")
      ->type_name("UNIT")
      ->check(CLI::IsMember(std::vector<std::string>{"mph", "km/h"}));
  command
      ->add_option("--fastest", given->fastest,
                   "the most that law, road and car allow, such as 45mph; 50 mph when left out")
      ->type_name("SPEED");
  command->add_flag("--no-bends", given->no_bends, "no runs in bends");
  add_json_option(*command, given->json);
  add_report_option(*command, given->report);
  command->footer(
      "Example:\n"
      "  gearhark plan models/heron_rear_transaxle.toml --suspect pinion_head_bearing,input_bearing_front "
      "--fastest 45mph");
  command->callback([given, &chosen] { chosen = [given] { return plan_card(*given); }; });
}

}  // namespace gearhark::cli
