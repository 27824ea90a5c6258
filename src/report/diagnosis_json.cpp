#include <array>
#include <nlohmann/json.hpp>

#include "gearhark/diagnosis/conformance.hpp"
#include "gearhark/report/diagnosis.hpp"
#include "lines.hpp"
#include "run_json.hpp"

namespace gearhark {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::array certainty_words{"sure", "doubtful", "lost"};

Json suspect(const Suspect& s) {
  Json lines = Json::array();
  for (const EvidenceItem& item : s.evidence) lines.push_back(report::evidence_json(item));
  return {{"part", s.part},
          {"name", s.name},
          {"fault", to_text(s.fault)},
          {"probability", s.probability.value()},
          {"log_evidence", s.log_evidence},
          {"cannot_be_told_from", s.cannot_be_told_from},
          {"in_words", s.in_words},
          {"evidence", lines}};
}

Json recording(const RunReport& r) {
  return {{"file", r.run.file},
          {"from_s", r.run.from.value_or(Seconds(0.0)).value()},
          {"gear", r.run.gear.label},
          {"load", to_text(r.run.load)},
          {"turn", to_text(r.run.turn)},
          {"usable_s", r.quality.usable.value()},
          {"mean_wheel_hz", r.mean_wheel.value()},
          {"mean_wheel_hz_sd", r.mean_wheel_sd.value()},
          {"speed_scale", r.tracking.scale},
          {"speed_scale_sd", r.tracking.scale_sd},
          {"speed_found", certainty_words[static_cast<std::size_t>(r.tracking.certainty)]},
          {"problems", r.problems}};
}

}  // namespace

std::string diagnosis_json(const Diagnosis& d) {
  const auto known = [&](Probability p) { return d.suspects.empty() ? Json(nullptr) : Json(p.value()); };
  Json suspects = Json::array(), recordings = Json::array();
  for (const Suspect& s : d.suspects) suspects.push_back(suspect(s));
  for (const RunReport& r : d.runs) recordings.push_back(recording(r));
  const Json out{{"format", "gearhark diagnosis"},
                 {"version", 1},
                 {"conformance", conformance},
                 {"car", d.car_name},
                 {"verdict", to_text(d.verdict)},
                 {"reason", d.reason},
                 {"suspects", suspects},
                 {"no_fault_probability", known(d.no_fault)},
                 {"unexplained_probability", known(d.unexplained)},
                 {"earlier_findings", d.earlier_findings},
                 {"recordings", recordings},
                 {"left_out", d.left_out},
                 {"next_run", d.next_run ? report::run_json(*d.next_run) : Json(nullptr)},
                 {"cautions", d.cautions}};
  return out.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace gearhark
