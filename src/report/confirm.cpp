#include "gearhark/report/confirm.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "gearhark/units/text.hpp"
#include "lines.hpp"
#include "mind.hpp"
#include "run_json.hpp"
#include "words.hpp"
#include "wrap.hpp"

namespace gearhark {
namespace {

using Json = nlohmann::ordered_json;
using report::for_or_against;
using report::sensitivity;
using report::upper;
using report::wrapped;

std::string found_of(const std::vector<EvidenceItem>& lines) {
  const auto found = std::count_if(lines.begin(), lines.end(), [](const EvidenceItem& l) { return l.found; });
  if (lines.empty()) return "";
  return fmt::format("{} of {} lines looked for stand out. ", found, lines.size());
}

std::string run_text(const Confirmation& c, const ConfirmRun& r) {
  constexpr std::size_t most_lines = 6;
  const RunReport& report = c.runs[static_cast<std::size_t>(r.recording)];
  std::string out =
      wrapped(fmt::format("  {:<3}", r.recording + 1),
              fmt::format("{}{}: gear {}, {}, {}. {}: evidence {:.1f}, {:.1f} would be enough. {}{}",
                          report.run.file, report::part_of(report.run), report.tracking.gear.label,
                          to_text(report.run.load), to_text(report.run.turn), for_or_against(r), r.heard,
                          r.enough, found_of(r.lines), sensitivity(r)));
  return out + report::found_lines(r.lines, most_lines);
}

std::string next(const Confirmation& c) {
  if (!c.next_run) return "";
  return "\nWhat to record next\n" + report::next_run(*c.next_run, report::unit_of(c.runs));
}

Json loudness_json(const std::optional<Loudness>& l) {
  if (!l) return nullptr;
  return {{"found_9_in_10_db", l->found_9_in_10.value()}, {"tried", l->tried}, {"found", l->found}};
}

Json run_json(const Confirmation& c, const ConfirmRun& r) {
  Json lines = Json::array();
  for (const EvidenceItem& item : r.lines) lines.push_back(report::evidence_json(item));
  return {{"recording", r.recording},
          {"file", c.runs[static_cast<std::size_t>(r.recording)].run.file},
          {"heard", r.heard},
          {"enough", r.enough},
          {"expected_loudness", r.expected_loudness},
          {"injected", r.injected},
          {"would_be_heard", loudness_json(r.would_be_heard)},
          {"evidence", lines}};
}

}  // namespace

std::string confirmation_text(const Confirmation& c) {
  std::string out =
      wrapped("", fmt::format("{}: {}, {}: {}", c.car_name, c.name.empty() ? c.part : c.name,
                              to_text(c.fault), upper(to_text(c.verdict)))) +
      "\n" + wrapped("", c.reason) +
      wrapped("", fmt::format("Among all suspects, and none, it has {} %.", whole_percent(c.probability))) +
      "\nRun by run\n";
  for (const ConfirmRun& r : c.by_run) out += run_text(c, r);
  if (c.by_run.empty()) out += "  In none of the runs could its lines be placed.\n";
  out += wrapped("  ",
                 "dB: of the fault over everything else in the recording, in the third-octave band where it "
                 "stands out most.");
  return out + next(c) + "\n" + report::mind(c.cautions);
}

std::string confirmation_json(const Confirmation& c) {
  Json runs = Json::array();
  for (const ConfirmRun& r : c.by_run) runs.push_back(run_json(c, r));
  const Json out{{"format", "gearhark confirmation"},
                 {"version", 1},
                 {"car", c.car_name},
                 {"part", c.part},
                 {"name", c.name},
                 {"fault", to_text(c.fault)},
                 {"verdict", to_text(c.verdict)},
                 {"reason", c.reason},
                 {"probability", c.probability.value()},
                 {"heard", c.heard},
                 {"enough", c.enough},
                 {"would_be_heard", loudness_json(c.most_sensitive)},
                 {"recordings", runs},
                 {"next_run", c.next_run ? report::run_json(*c.next_run) : Json(nullptr)},
                 {"cautions", c.cautions}};
  return out.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace gearhark
