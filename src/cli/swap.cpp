#include "gearhark/report/swap.hpp"

#include <charconv>
#include <memory>

#include "arguments.hpp"
#include "commands.hpp"
#include "output.hpp"

namespace gearhark::cli {
namespace {

struct Options {
  std::string car, donor, speedometer = "unit", reads_high = "0", gear, json;
  std::vector<std::string> speeds{"50km/h", "80km/h", "100km/h"};
  bool donor_tyres = false;
};

// "5" or "5%" -> 0.05
Result<double> percentage(std::string_view text) {
  std::string_view body = text;
  if (body.ends_with('%')) body.remove_suffix(1);
  while (body.ends_with(' ')) body.remove_suffix(1);
  double value = 0.0;
  const auto [end, error] = std::from_chars(body.data(), body.data() + body.size(), value);
  if (error != std::errc{} || end != body.data() + body.size() || !(value > -50.0 && value < 50.0))
    return Error{fmt::format("\"{}\" is not a percentage between -50 and 50; write such as 5%", text)};
  return value / 100.0;
}

Outcome swap(const Options& given) {
  SwapQuestion question;
  for (const auto& words : given.speeds) {
    const auto speed = option("--speed", parse_speed(words));
    if (!speed) return speed.error();
    question.speeds.push_back(*speed);
  }
  const auto high = option("--reads-high", percentage(given.reads_high));
  if (!high) return high.error();
  question.reads_high = *high;
  question.drive = given.speedometer == "unit" ? SpeedometerDrive::unit : SpeedometerDrive::wheel;
  question.donor_tyres = given.donor_tyres;
  if (!given.gear.empty()) question.listen = Gear{given.gear};
  const auto car = car_named(given.car);
  if (!car) return car.error();
  const auto donor = car_named(given.donor);
  if (!donor) return donor.error();
  const auto result = swap_unit(*car, *donor, question);
  if (!result) return result.error();
  return deliver(swap_text(*result), swap_json(*result), given.json);
}

}  // namespace

void add_swap(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command = app.add_subcommand("swap", "what another car's gearbox and final drive would change");
  command->add_option("car", given->car, "the car file")->required()->type_name("CAR.toml");
  command->add_option("donor", given->donor, "the car the unit comes from")
      ->required()
      ->type_name("DONOR.toml");
  command->add_option("--speed", given->speeds, "true road speeds; 50, 80 and 100 km/h when left out")
      ->type_name("SPEED[,SPEED...]")
      ->delimiter(',');
  command
      ->add_option("--speedometer", given->speedometer,
                   "what drives it: unit (its output shaft; when left out) or wheel")
      ->type_name("WORD")
      ->check(CLI::IsMember(std::vector<std::string>{"unit", "wheel"}));
  command
      ->add_option("--reads-high", given->reads_high, "by how much it does now, such as 4%; 0 when left out")
      ->type_name("PERCENT");
  command->add_flag("--donor-tyres", given->donor_tyres, "the donor's tyres come with the unit");
  command
      ->add_option("--gear", given->gear,
                   "the gear to list changed lines in; the highest common one when left out")
      ->type_name("GEAR");
  add_json_option(*command, given->json);
  command->footer(
      "Example:\n"
      "  gearhark swap models/heron_rear_transaxle.toml samples/swap/donor.toml --speed 30mph,60mph");
  command->callback([given, &chosen] { chosen = [given] { return swap(*given); }; });
}

}  // namespace gearhark::cli
