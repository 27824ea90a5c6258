#include "gearhark/report/inspect.hpp"

#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "mind.hpp"
#include "wrap.hpp"

namespace gearhark {
namespace {

using Json = nlohmann::ordered_json;
using report::wrapped;

// Enough digits for a tenth of the smallest step of usual instruments.
int digits_of(LengthUnit unit) {
  switch (unit) {
    case LengthUnit::inch:
      return 4;
    case LengthUnit::thou:
      return 1;
    case LengthUnit::mm:
      return 3;
    case LengthUnit::cm:
      return 4;
    case LengthUnit::m:
      break;
  }
  return 6;
}

std::string length(Length value, LengthUnit unit) { return to_text(value, unit, digits_of(unit)); }

std::string new_and_limit(const Dimension& d, LengthUnit unit) {
  std::string out = d.nominal_new ? "new " + length(d.nominal_new->value, unit) : "new value not known";
  return out + (d.limit ? ", limit " + length(d.limit->value, unit) : ", limit not known");
}

std::string readings_words(const InspectedDimension& d, LengthUnit unit) {
  std::string out;
  for (const Reading& r : d.readings) out += (out.empty() ? "" : ", ") + length(r.value.value, unit);
  if (d.readings.size() > 1)
    out += fmt::format("; mean {}, spread {}", length(d.mean, unit), length(d.spread, unit));
  return out + fmt::format("; smallest step {}", length(d.resolution, unit));
}

std::string wear_words(const InspectedDimension& d) {
  return fmt::format("{:.0f} % of the wear allowance used ({:.0f} to {:.0f} %){}", 100.0 * *d.wear_used,
                     100.0 * *d.wear_used_low, 100.0 * *d.wear_used_high,
                     d.readings.size() > 1 ? ", by the worst reading" : "");
}

std::string text_of(const InspectedDimension& d) {
  const LengthUnit unit = d.readings.front().value.unit;
  const std::string& name = d.dimension.name.empty() ? d.dimension.id : d.dimension.name;
  std::string out = wrapped("", fmt::format("{}: {}", name, to_text(d.verdict)));
  out += wrapped("  ", new_and_limit(d.dimension, unit) + (d.shrinks ? " (wear makes it smaller)" : ""));
  out += wrapped("  ", "read " + readings_words(d, unit));
  if (d.wear_used) out += wrapped("  ", wear_words(d));
  if (!d.dimension.note.empty()) out += wrapped("  ", "car file: " + d.dimension.note);
  for (const auto& remark : d.remarks) out += wrapped("  - ", remark);
  return out;
}

double mm(Length length) { return length.value() * 1e3; }
Json mm(const std::optional<WrittenLength>& written) {
  return written ? Json(mm(written->value)) : Json(nullptr);
}
Json number(const std::optional<double>& value) { return value ? Json(*value) : Json(nullptr); }

Json json_of(const InspectedDimension& d) {
  Json readings = Json::array();
  for (const Reading& r : d.readings) readings.push_back(mm(r.value.value));
  return {{"dimension", d.dimension.id},
          {"name", d.dimension.name},
          {"part", d.dimension.part},
          {"verdict", to_text(d.verdict)},
          {"new_mm", mm(d.dimension.nominal_new)},
          {"limit_mm", mm(d.dimension.limit)},
          {"wear_makes_it", d.shrinks ? "smaller" : "larger"},
          {"readings_mm", readings},
          {"mean_mm", mm(d.mean)},
          {"spread_mm", mm(d.spread)},
          {"worst_mm", mm(d.worst)},
          {"resolution_mm", mm(d.resolution)},
          {"uncertainty_mm", mm(d.uncertainty)},
          {"wear_used", number(d.wear_used)},
          {"wear_used_low", number(d.wear_used_low)},
          {"wear_used_high", number(d.wear_used_high)},
          {"remarks", d.remarks}};
}

}  // namespace

std::string inspection_text(const Inspection& inspection) {
  std::string out = inspection.car_name + "\n\n";
  for (const auto& d : inspection.dimensions) out += text_of(d) + "\n";
  return out + report::mind(inspection.cautions);
}

std::string inspection_json(const Inspection& inspection) {
  Json dimensions = Json::array();
  for (const auto& d : inspection.dimensions) dimensions.push_back(json_of(d));
  const Json out{{"format", "gearhark inspection"},
                 {"version", 1},
                 {"car", inspection.car_name},
                 {"dimensions", dimensions},
                 {"cautions", inspection.cautions}};
  return out.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace gearhark
