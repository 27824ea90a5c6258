#include "gearhark/report/orders.hpp"

#include <memory>

#include "arguments.hpp"
#include "commands.hpp"
#include "output.hpp"

namespace gearhark::cli {
namespace {

struct Options {
  std::string car, speed, engine, gear = "N", json;
  bool pedal_down = false;
};

Outcome orders(const Options& given) {
  OrdersQuestion question;
  SpeedUnit unit = SpeedUnit::kmh;
  question.state = {{given.gear}, given.pedal_down ? Clutch::pedal_down : Clutch::engaged};
  if (!given.speed.empty()) {
    const auto speed = option("--speed", parse_speed(given.speed));
    if (!speed) return speed.error();
    question.speed = speed->value;
    unit = speed->unit;
  }
  if (!given.engine.empty()) {
    const auto engine = option("--engine", parse_shaft_rate(given.engine));
    if (!engine) return engine.error();
    question.engine = *engine;
  }
  const auto car = car_named(given.car);
  if (!car) return car.error();
  const auto table = order_table(*car, question);
  if (!table) return usage(table.error().sentence);
  return deliver(orders_text(*table, unit), orders_json(*table), given.json);
}

}  // namespace

void add_orders(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command = app.add_subcommand("orders", "what every part of a car should sound like");
  command->add_option("car", given->car, "the car file")->required()->type_name("CAR.toml");
  command->add_option("--speed", given->speed, "road speed, such as 45mph or 72km/h")->type_name("SPEED");
  command->add_option("--engine", given->engine, "engine speed, such as 2400rpm")->type_name("RATE");
  command->add_option("--gear", given->gear, "gear, such as 3, R, N or \"4 overdrive\"; N when left out")
      ->type_name("GEAR");
  command->add_flag("--pedal-down", given->pedal_down, "with the clutch pedal down");
  add_json_option(*command, given->json);
  command->footer("Example:\n  gearhark orders models/heron_rear_transaxle.toml --speed 45mph --gear 3");
  command->callback([given, &chosen] { chosen = [given] { return orders(*given); }; });
}

}  // namespace gearhark::cli
