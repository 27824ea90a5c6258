#include "gearhark/report/compare.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "mind.hpp"
#include "wrap.hpp"

namespace gearhark {
namespace {

using Json = nlohmann::ordered_json;
using report::upper;
using report::wrapped;

std::string part_row(const PartChange& p) {
  const std::string& name = p.name.empty() ? p.part : p.name;
  const std::string change =
      p.pairs ? fmt::format("{:+6.1f}  ({:+.1f} to {:+.1f})", p.change_db, p.low_db, p.high_db)
              : std::string("-");
  return fmt::format("  {:<34.34} {:>6.1f} {:>6.1f}   {:<25} {}\n", name, p.heard_before, p.heard_after,
                     change, to_text(p.verdict));
}

std::string pair_row(const Comparison& c, const RunPair& p) {
  const Run& run = c.before[p.before];
  return wrapped(
      "  ", fmt::format("{} and {}: gear {}, {}, {}; speed {:+.1f} %; recorded {:+.1f} dB louder, +- {:.1f}",
                        run.file, c.after[p.after].file, run.gear.label, to_text(run.load), to_text(run.turn),
                        100.0 * (p.speed_ratio - 1.0), p.gain_db, p.gain_sd_db));
}

Json json_of(const PartChange& p) {
  return {{"part", p.part},
          {"name", p.name},
          {"cannot_be_told_from", p.cannot_be_told_from},
          {"fault", to_text(p.fault)},
          {"before_probability", p.before.value()},
          {"after_probability", p.after.value()},
          {"heard_before", p.heard_before},
          {"heard_after", p.heard_after},
          {"change_db", p.change_db},
          {"low_db", p.low_db},
          {"high_db", p.high_db},
          {"pairs", p.pairs},
          {"verdict", to_text(p.verdict)},
          {"reason", p.reason}};
}

}  // namespace

std::string comparison_text(const Comparison& c) {
  std::string out = fmt::format("{}, before and after: {}\n\n", c.car_name, upper(to_text(c.verdict)));
  out += wrapped("", c.reason);
  if (!c.parts.empty()) {
    out += fmt::format(
        "\nPart by part (how far it stands out, in sigmas; change in dB with its 90 % interval)\n"
        "  {:<34} {:>6} {:>6}   {:<25} {}\n",
        "", "before", "after", "  change", "");
    for (const PartChange& p : c.parts) out += part_row(p);
  }
  if (!c.pairs.empty()) {
    out += "\nRuns paired\n";
    for (const RunPair& p : c.pairs) out += pair_row(c, p);
  }
  for (const auto& remark : c.remarks) out += wrapped("- ", remark);
  return fmt::format("{}\n{}", out, report::mind(c.cautions));
}

std::string comparison_json(const Comparison& c) {
  Json parts = Json::array(), pairs = Json::array();
  for (const PartChange& p : c.parts) parts.push_back(json_of(p));
  for (const RunPair& p : c.pairs)
    pairs.push_back({{"before", c.before[p.before].file},
                     {"after", c.after[p.after].file},
                     {"speed_ratio", p.speed_ratio},
                     {"gain_db", p.gain_db},
                     {"gain_sd_db", p.gain_sd_db}});
  const Json out{{"format", "gearhark comparison"},
                 {"version", 1},
                 {"car", c.car_name},
                 {"verdict", to_text(c.verdict)},
                 {"part", c.part},
                 {"reason", c.reason},
                 {"parts", parts},
                 {"appeared", c.appeared},
                 {"pairs", pairs},
                 {"remarks", c.remarks},
                 {"cautions", c.cautions}};
  return out.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace gearhark
