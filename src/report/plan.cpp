#include "gearhark/report/plan.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "run_json.hpp"
#include "words.hpp"
#include "wrap.hpp"

namespace gearhark {
namespace {

using Json = nlohmann::ordered_json;
using report::driving;
using report::wrapped;

std::string bullets(std::string_view heading, const std::vector<std::string>& items) {
  std::string out(heading);
  out += "\n";
  for (const auto& item : items) out += wrapped("  - ", item);
  return out + "\n";
}

std::string runs_text(const Plan& plan) {
  if (plan.runs.empty()) return "No run within these limits is expected to tell these suspects apart.\n\n";
  std::string out = "Runs\n";
  for (std::size_t i = 0; i < plan.runs.size(); ++i) {
    const NextRun& run = plan.runs[i];
    out += wrapped(fmt::format("  {}  ", i + 1), fmt::format("gear {}, {} s: {}", run.gear.label,
                                                             run.duration.value(), driving(run, plan.unit)));
    out += wrapped("     ", run.because);
    out += fmt::format(
        "     needle: start ______ end ______ {}   noise: none / some / loud   file: __________\n",
        plan.unit == SpeedUnit::mph ? "mph" : "km/h");
  }
  return out + "\n";
}

std::string outlook_text(const Plan& plan) {
  std::string out;
  for (const auto& sentence : report::outlook(plan))
    out += wrapped(out.empty() && !sentence.starts_with("Hardly") ? "" : "- ", sentence);
  return out;
}

}  // namespace

std::string plan_text(const Plan& plan) {
  std::string out = fmt::format("{}: road test\n", plan.car_name);
  out += wrapped("", plan.suspect_names.empty()
                         ? std::string("Suspects: every part of the car file")
                         : fmt::format("Suspects: {}", fmt::join(plan.suspect_names, "; ")));
  return out + "\n" + bullets("Before you drive", plan.cautions) +
         bullets("How to record", plan.how_to_record) + runs_text(plan) + outlook_text(plan);
}

std::string plan_json(const Plan& plan) {
  Json runs = Json::array();
  for (const NextRun& run : plan.runs) runs.push_back(report::run_json(run));
  Json out{{"format", "gearhark plan"},
           {"version", 1},
           {"car", plan.car_name},
           {"suspects", plan.suspects},
           {"runs", std::move(runs)},
           {"entropy", plan.entropy},
           {"expected_entropy_drop", plan.expected_drop},
           {"alike", plan.alike},
           {"unheard", plan.unheard},
           {"how_to_record", plan.how_to_record},
           {"cautions", plan.cautions},
           {"unit", plan.unit == SpeedUnit::mph ? "mph" : "km/h"},
           {"gears", plan.gears}};
  if (!plan.car_file.empty()) out["car_file"] = plan.car_file;
  return out.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace gearhark
