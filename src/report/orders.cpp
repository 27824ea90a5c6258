#include "gearhark/report/orders.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <nlohmann/json.hpp>

namespace gearhark {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::size_t columns = 6;
using Cells = std::array<std::string, columns>;
constexpr std::array<bool, columns> right_aligned{false, false, true, true, true, true};

std::string order_cell(const std::optional<Order>& order) {
  return order ? fmt::format("{:.4g}", order->value()) : "-";
}

// "exact", "+-0.5 %", or "-1.7 to +0.2 %".
std::string tolerance_cell(double low, double high) {
  const double below = -low * 100.0, above = high * 100.0;
  if (below < 0.005 && above < 0.005) return "exact";
  if (std::abs(below - above) < 0.05) return fmt::format("+-{:.1f} %", above);
  return fmt::format("{:+.1f} to {:+.1f} %", -below, above);
}

Cells cells_of(const OrderRow& row) {
  return {row.name,
          row.happening,
          row.frequency ? fmt::format("{:.1f}", row.frequency->value()) : "-",
          order_cell(row.per_wheel),
          order_cell(row.per_engine),
          row.frequency ? tolerance_cell(row.frequency_low, row.frequency_high)
                        : tolerance_cell(row.low, row.high)};
}

std::string table_text(const std::vector<Cells>& rows) {
  std::array<std::size_t, columns> width{};
  for (const auto& row : rows)
    for (std::size_t c = 0; c < columns; ++c) width[c] = std::max(width[c], row[c].size());
  std::string out;
  for (const auto& row : rows) {
    std::string line;
    for (std::size_t c = 0; c < columns; ++c)
      line += right_aligned[c] ? fmt::format("  {:>{}}", row[c], width[c])
                               : fmt::format("{}{:<{}}", c ? "  " : "", row[c], width[c]);
    out += line.substr(0, line.find_last_not_of(' ') + 1) + "\n";
  }
  return out;
}

std::string heading(const OrderTable& t, SpeedUnit unit) {
  std::string out = fmt::format("{}, gear {}", t.car, t.asked.state.gear.label);
  if (t.asked.state.clutch == Clutch::pedal_down) out += ", clutch pedal down";
  if (t.asked.speed) out += ", " + to_text(*t.asked.speed, unit);
  if (t.wheel) out += fmt::format(", wheels {:.2f} turns/s", t.wheel->value());
  if (t.engine) out += fmt::format(", engine {:.0f} rpm", t.engine->value() * 60.0);
  return out + "\n\n";
}

Json optional_number(const auto& value) { return value ? Json(value->value()) : Json(nullptr); }

}  // namespace

std::string orders_text(const OrderTable& table, SpeedUnit unit) {
  std::vector<Cells> rows{{"part", "what happens", "Hz", "per wheel turn", "per engine turn", "tolerance"}};
  for (const auto& row : table.rows) rows.push_back(cells_of(row));
  return heading(table, unit) + table_text(rows);
}

std::string orders_json(const OrderTable& table) {
  Json rows = Json::array();
  for (const auto& r : table.rows)
    rows.push_back({{"part", r.part},
                    {"name", r.name},
                    {"happening", r.happening},
                    {"frequency_hz", optional_number(r.frequency)},
                    {"frequency_tolerance", {r.frequency_low, r.frequency_high}},
                    {"per_wheel_turn", optional_number(r.per_wheel)},
                    {"per_engine_turn", optional_number(r.per_engine)},
                    {"order_tolerance", {r.low, r.high}}});
  const Json out{{"format", "gearhark orders"},
                 {"version", 1},
                 {"car", table.car},
                 {"gears", table.gears},
                 {"gear", table.asked.state.gear.label},
                 {"clutch", table.asked.state.clutch == Clutch::engaged ? "engaged" : "pedal down"},
                 {"wheel_hz", optional_number(table.wheel)},
                 {"engine_hz", optional_number(table.engine)},
                 {"rows", rows}};
  return out.dump(2) + "\n";
}

std::string teeth_text(std::string_view ratio, const std::vector<ToothPair>& pairs) {
  if (pairs.empty())
    return fmt::format("No pair of up to 60 driving and 100 driven teeth rounds to {}.\n", ratio);
  std::string out =
      fmt::format("Tooth pairs that round to {}, commonest first (judged by usual practice):\n\n", ratio);
  out += "driving  driven    ratio\n";
  for (const auto& p : pairs)
    out += fmt::format("{:7}  {:6}  {:.5f}{}\n", p.driving, p.driven, p.ratio,
                       p.hunting ? "" : "  common factor");
  return out;
}

std::string teeth_json(std::string_view ratio, const std::vector<ToothPair>& pairs) {
  Json list = Json::array();
  for (const auto& p : pairs)
    list.push_back(
        {{"driving", p.driving}, {"driven", p.driven}, {"ratio", p.ratio}, {"hunting", p.hunting}});
  const Json out{{"format", "gearhark teeth"}, {"version", 1}, {"ratio", ratio}, {"pairs", list}};
  return out.dump(2) + "\n";
}

}  // namespace gearhark
