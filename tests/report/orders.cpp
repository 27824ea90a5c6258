#include "gearhark/report/orders.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <sstream>

using namespace gearhark;
using namespace gearhark::literals;
using Catch::Matchers::Contains;

namespace {

OrderTable plover_at(Speed speed) {
  const auto car = load_car(std::string(GEARHARK_SOURCE_DIR) + "/models/plover_live_axle_overdrive.toml");
  REQUIRE(car);
  const auto table = order_table(*car, {{{"3"}}, speed, {}});
  REQUIRE(table);
  return *table;
}

}  // namespace

TEST_CASE("the orders table heads with the speed in the unit asked for, and has one line per row") {
  const OrderTable table = plover_at(45_mph);
  const std::string text = orders_text(table, SpeedUnit::mph);
  CHECK_THAT(text, Contains("gear 3, 45 mph") && Contains("per wheel turn") && Contains("ring and pinion"));
  CHECK_THAT(orders_text(table, SpeedUnit::kmh), Contains("72 km/h"));
  CHECK(static_cast<std::size_t>(std::count(text.begin(), text.end(), '\n')) == table.rows.size() + 3);
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) CHECK(line.find_last_not_of(' ') + 1 == line.size());
}

TEST_CASE("the JSON of the orders holds the numbers of the table") {
  const OrderTable table = plover_at(45_mph);
  const auto json = nlohmann::json::parse(orders_json(table));
  CHECK(json["format"] == "gearhark orders");
  REQUIRE(json["rows"].size() == table.rows.size());
  for (std::size_t i = 0; i < table.rows.size(); ++i) {
    CHECK(json["rows"][i]["part"] == table.rows[i].part);
    CHECK(json["rows"][i]["frequency_hz"].get<double>() == Approx(table.rows[i].frequency->value()));
  }
}

TEST_CASE("the teeth list names each pair, and says so when there is none") {
  const auto pairs = tooth_pairs_for_ratio("4.11");
  REQUIRE(pairs);
  CHECK_THAT(teeth_text("4.11", *pairs), Contains("4.11") && Contains("37") && Contains("4.11111"));
  CHECK(nlohmann::json::parse(teeth_json("4.11", *pairs))["pairs"].size() == pairs->size());
  const auto none = tooth_pairs_for_ratio("4.11234567");
  REQUIRE(none);
  CHECK(none->empty());
  CHECK_THAT(teeth_text("4.11234567", *none), Contains("No pair"));
}
