#include "gearhark/report/swap.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "mind.hpp"
#include "wrap.hpp"

namespace gearhark {
namespace {

using Json = nlohmann::ordered_json;
using report::wrapped;

constexpr std::size_t most_lines = 20, most_alike = 8;

std::string ratio_cell(std::optional<double> ratio) { return ratio ? fmt::format("{:.3f}", *ratio) : "-"; }

std::string change(double before, double after) {
  return fmt::format("{:+.1f} %", 100.0 * (after / before - 1.0));
}

std::string gears_text(const Swap& s) {
  std::string out = "Engine turns per wheel turn, and engine speed in rpm at a road speed of\n";
  std::string head = fmt::format("  {:<14}{:>8} {:>8} {:>9}", "gear", "before", "after", "");
  for (const auto& speed : s.asked.speeds) head += fmt::format("  {:>14}", to_text(speed.value, speed.unit));
  out += head + "\n";
  for (const SwapGear& g : s.gears) {
    out += fmt::format("  {:<14}{:>8} {:>8} {:>9}", g.gear.label, ratio_cell(g.before), ratio_cell(g.after),
                       g.before && g.after ? change(*g.before, *g.after) : "");
    for (std::size_t i = 0; i < s.asked.speeds.size(); ++i) {
      const auto cell = [&](const std::vector<ShaftRate>& rates) {
        return rates.empty() ? std::string("-") : fmt::format("{:.0f}", rates[i].value() * 60.0);
      };
      out += fmt::format("  {:>14}", cell(g.engine_before) + " > " + cell(g.engine_after));
    }
    out += "\n";
  }
  return out + "\n";
}

std::string speedometer_text(const Swap& s) {
  std::string out = "Speedometer\n";
  for (std::size_t i = 0; i < s.readings.size(); ++i) {
    const SwapReading& r = s.readings[i];
    const SpeedUnit unit = s.asked.speeds[i].unit;
    out += fmt::format("  at {} it shows {} before and {} after: {} > {}\n", to_text(r.road, unit),
                       to_text(r.before, unit, 1), to_text(r.after, unit, 1),
                       change(r.road.value(), r.before.value()), change(r.road.value(), r.after.value()));
  }
  return out + "\n";
}

std::string facts_text(const Swap& s) {
  std::string different, alike;
  std::size_t same = 0;
  for (const SwapFact& f : s.facts) {
    if (f.differs)
      different +=
          wrapped("  ", f.what) + wrapped("      car    ", f.car) + wrapped("      donor  ", f.donor);
    else if (same++ < most_alike)
      alike += wrapped("  ", f.what + ": " + f.car);
  }
  if (same > most_alike) alike += fmt::format("  and {} more\n", same - most_alike);
  return "Recorded differently\n" + (different.empty() ? "  nothing\n" : different) + "\nRecorded alike\n" +
         (alike.empty() ? "  nothing\n" : alike) + "\n";
}

std::string order_cell(const std::optional<Order>& order) {
  return order ? fmt::format("{:.3f}", order->value()) : "-";
}
std::string hertz_cell(const std::optional<Hertz>& hertz) {
  return hertz ? fmt::format("{:.1f}", hertz->value()) : "-";
}

std::string lines_text(const Swap& s) {
  std::string out = fmt::format("Lines that change, in gear {} at {}\n", s.listened.label,
                                to_text(s.asked.speeds.front().value, s.asked.speeds.front().unit));
  out += fmt::format("  {:<52} {:>18} {:>20}\n", "", "per wheel turn", "Hz");
  std::size_t shown = 0;
  for (const SwapLine& line : s.lines) {
    if (shown++ == most_lines) break;
    out += fmt::format("  {:<52.52} {:>8} > {:<8} {:>8} > {:<8}", line.name + ", " + line.happening,
                       order_cell(line.before), order_cell(line.after), hertz_cell(line.hertz_before),
                       hertz_cell(line.hertz_after));
    out = out.substr(0, out.find_last_not_of(' ') + 1) + "\n";
  }
  if (s.lines.empty()) out += "  none\n";
  if (s.lines.size() > most_lines)
    out +=
        fmt::format("  and {} more that change less or are in one car only\n", s.lines.size() - most_lines);
  return out + "\n";
}

Json optional(const std::optional<double>& value) { return value ? Json(*value) : Json(nullptr); }
Json value_of(const auto& quantity) { return quantity ? Json(quantity->value()) : Json(nullptr); }

Json rpm(const std::vector<ShaftRate>& rates) {
  Json out = Json::array();
  for (const ShaftRate rate : rates) out.push_back(rate.value() * 60.0);
  return out;
}

Json gears_json(const Swap& s) {
  Json out = Json::array();
  for (const SwapGear& g : s.gears)
    out.push_back({{"gear", g.gear.label},
                   {"ratio_before", optional(g.before)},
                   {"ratio_after", optional(g.after)},
                   {"engine_rpm_before", rpm(g.engine_before)},
                   {"engine_rpm_after", rpm(g.engine_after)}});
  return out;
}

Json readings_json(const Swap& s) {
  Json out = Json::array();
  for (const SwapReading& r : s.readings)
    out.push_back(
        {{"road_mps", r.road.value()}, {"before_mps", r.before.value()}, {"after_mps", r.after.value()}});
  return out;
}

Json facts_json(const Swap& s) {
  Json out = Json::array();
  for (const SwapFact& f : s.facts)
    out.push_back({{"what", f.what}, {"car", f.car}, {"donor", f.donor}, {"differs", f.differs}});
  return out;
}

Json lines_json(const Swap& s) {
  Json out = Json::array();
  for (const SwapLine& line : s.lines)
    out.push_back({{"part", line.part},
                   {"name", line.name},
                   {"happening", line.happening},
                   {"per_wheel_turn_before", value_of(line.before)},
                   {"per_wheel_turn_after", value_of(line.after)},
                   {"frequency_hz_before", value_of(line.hertz_before)},
                   {"frequency_hz_after", value_of(line.hertz_after)}});
  return out;
}

}  // namespace

std::string swap_text(const Swap& s) {
  std::string out = fmt::format("{} with the unit of {}\n\n", s.car_name, s.donor_name);
  if (s.final_before && s.final_after)
    out += fmt::format("Final drive {:.3f} > {:.3f} ({})\n\n", *s.final_before, *s.final_after,
                       change(*s.final_before, *s.final_after));
  out += gears_text(s) + speedometer_text(s) + facts_text(s) + lines_text(s);
  for (const auto& remark : s.remarks) out += wrapped("- ", remark);
  return out + "\n" + report::mind(s.cautions);
}

std::string swap_json(const Swap& s) {
  const Json out{{"format", "gearhark swap"},
                 {"version", 1},
                 {"car", s.car_name},
                 {"donor", s.donor_name},
                 {"final_drive_before", optional(s.final_before)},
                 {"final_drive_after", optional(s.final_after)},
                 {"gears", gears_json(s)},
                 {"speedometer_change", s.speedometer_change},
                 {"speedometer", readings_json(s)},
                 {"facts", facts_json(s)},
                 {"lines_gear", s.listened.label},
                 {"lines", lines_json(s)},
                 {"remarks", s.remarks},
                 {"cautions", s.cautions}};
  return out.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace gearhark
