#include "gearhark/report/decide.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "gearhark/units/text.hpp"
#include "mind.hpp"
#include "wrap.hpp"

namespace gearhark {
namespace {

using Json = nlohmann::ordered_json;
using report::wrapped;

constexpr std::size_t shown_suspects = 3;

std::string percent(Probability p) { return whole_percent(p) + " %"; }

std::string heard(const Decision& d) {
  std::string out = fmt::format("The diagnosis says: {}.", d.chances.verdict);
  std::size_t shown = 0;
  for (const SuspectChance& s : d.chances.suspects)
    if (shown++ < shown_suspects && s.probability.value() >= 0.01)
      out += fmt::format(" {} {}.", s.name.empty() ? s.part : s.name, percent(s.probability));
  return wrapped("", out + fmt::format(" In the unit: {}; elsewhere: {}; no fault: {}.", percent(d.in_unit),
                                       percent(d.elsewhere), percent(d.no_fault)));
}

std::string option_text(const Option& o, bool first) {
  const std::string_view note = o.advised_against ? "  advised against" : first ? "  cheapest" : "";
  const std::string cures = o.kind == OptionKind::drive_on ? std::string("-") : percent(o.cures);
  return fmt::format("  {:<44.44} {:>10.0f} {:>10.0f} {:>8} {:>12.0f}{}\n", o.name, o.outlay, o.expected,
                     cures, o.wrong_guess, note);
}

std::string break_evens(const Decision& d) {
  std::string out;
  for (const Option& o : d.options)
    for (const auto& sentence : o.break_even) out += wrapped("  ", o.name + ": " + sentence);
  return out.empty() ? out : fmt::format("Break-even\n{}\n", out);
}

Json json_of(const Option& o) {
  return {{"option", to_text(o.kind)},
          {"name", o.name},
          {"parts", o.parts},
          {"outlay", o.outlay},
          {"expected_cost", o.expected},
          {"cures_probability", o.cures.value()},
          {"wrong_guess_cost", o.wrong_guess},
          {"advised_against", o.advised_against},
          {"break_even", o.break_even}};
}

Error unusable(std::string_view file, const std::string& why) {
  return {fmt::format(
      "{}: this is not a diagnosis that can be used ({}); give what gearhark diagnose --json FILE wrote",
      file, why)};
}

Chances chances_in(const Json& d) {
  Chances out{d.value("car", ""),
              d.at("verdict").get<std::string>(),
              {},
              Probability(d.at("no_fault_probability").get<double>()),
              Probability(d.at("unexplained_probability").get<double>())};
  for (const Json& s : d.at("suspects"))
    out.suspects.push_back({s.at("part").get<std::string>(), s.value("name", ""),
                            Probability(s.at("probability").get<double>())});
  return out;
}

}  // namespace

std::string decision_text(const Decision& d) {
  std::string out = fmt::format("{}\n\n{}\n{}\n", d.chances.car_name, report::mind(d.cautions), heard(d));
  out += fmt::format("Costs in {}\n  {:<44} {:>10} {:>10} {:>8} {:>12}\n", d.currency, "", "first try",
                     "expected", "cures", "if in vain");
  bool first = true;
  for (const Option& o : d.options) {
    out += option_text(o, first);
    first = false;
  }
  out += fmt::format("\n{}", break_evens(d));
  for (const auto& remark : d.remarks) out += wrapped("- ", remark);
  return out;
}

std::string decision_json(const Decision& d) {
  Json options = Json::array();
  for (const Option& o : d.options) options.push_back(json_of(o));
  const Json out{{"format", "gearhark decision"},
                 {"version", 1},
                 {"car", d.chances.car_name},
                 {"currency", d.currency},
                 {"in_unit_probability", d.in_unit.value()},
                 {"elsewhere_probability", d.elsewhere.value()},
                 {"no_fault_probability", d.no_fault.value()},
                 {"used_unit_break_even_good", d.used_break_even ? Json(*d.used_break_even) : Json(nullptr)},
                 {"options", options},
                 {"remarks", d.remarks},
                 {"cautions", d.cautions}};
  return out.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

Error nothing_known(std::string_view file) {
  return {fmt::format(
      "{}: none of its recordings could be placed, so no part has a chance to decide by; record again as "
      "gearhark diagnose says",
      file)};
}

Result<Chances> read_chances(std::string_view json, std::string_view file) {
  try {
    const Json d = Json::parse(json);
    if (!d.is_object() || d.value("format", "") != "gearhark diagnosis")
      return unusable(file, "its format is not \"gearhark diagnosis\"");
    if (d.value("version", 0) != 1) return unusable(file, "its version is not 1");
    if (d.at("suspects").empty()) return nothing_known(file);
    return chances_in(d);
  } catch (const nlohmann::json::exception& e) {
    const std::string said = e.what();
    const auto after_code = said.find("] ");
    std::string why = after_code == std::string::npos ? said : said.substr(after_code + 2);
    std::replace(why.begin(), why.end(), '\n', ' ');
    return unusable(file, why);
  }
}

}  // namespace gearhark
