#include "bench_run.hpp"

#include <algorithm>
#include <array>
#include <vector>

namespace gearhark::workbench {
namespace {

const char* word(RunState state) {
  constexpr std::array words{"checking", "ready", "unusable"};
  return words[static_cast<std::size_t>(state)];
}

struct Choice {
  const char* key;
  std::vector<std::string> words;  // none: free text
};
const std::vector<Choice>& run_choices() {
  static const std::vector<Choice> all{
      {"set", {"before", "after"}},
      {"gear", {}},
      {"load", {"", "drive", "float", "coast", "neutral"}},
      {"turn", {"straight", "left", "right"}},
      {"clutch", {"engaged", "pedal down"}},
      {"speed", {}},
      {"speed_kind", {"needle", "satellite", "between", "engine", "bench", "log"}},
      {"from", {}},
      {"to", {}}};
  return all;
}

std::string& field(BenchRun& run, std::string_view key) {
  RunNotes& n = run.notes;
  if (key == "set") return run.set;
  if (key == "gear") return n.gear;
  if (key == "load") return n.load;
  if (key == "turn") return n.turn;
  if (key == "clutch") return n.clutch;
  if (key == "speed") return n.speed;
  if (key == "speed_kind") return n.speed_kind;
  return key == "from" ? n.from : n.to;
}

bool says(const Choice& choice, const std::string& value) {
  if (choice.words.empty()) return value.size() <= 200;
  return std::find(choice.words.begin(), choice.words.end(), value) != choice.words.end();
}

}  // namespace

Json run_json(const BenchRun& run) {
  const RunNotes& n = run.notes;
  return {{"id", run.id},
          {"name", run.name},
          {"set", run.set},
          {"bytes", run.bytes},
          {"state", word(run.state)},
          {"trouble", run.trouble},
          {"left_out", run.left_out},
          {"from_phone", !run.sent_by.empty()},
          {"gear", n.gear},
          {"load", n.load},
          {"turn", n.turn},
          {"clutch", n.clutch},
          {"speed", n.speed},
          {"speed_kind", n.speed_kind},
          {"log", run.log_name},
          {"from", n.from},
          {"to", n.to},
          {"check", run.check_summary}};
}

std::string change(BenchRun& run, const Json& changes, bool& changed) {
  for (const Choice& choice : run_choices())
    if (changes.contains(choice.key) &&
        !(changes[choice.key].is_string() && says(choice, changes[choice.key])))
      return choice.key;
  for (const Choice& choice : run_choices())
    if (changes.contains(choice.key) && field(run, choice.key) != changes[choice.key]) {
      field(run, choice.key) = changes[choice.key];
      changed = true;
    }
  return "";
}

Json summary_of(const std::string& check) {
  const Json whole = Json::parse(check, nullptr, false);
  if (!whole.is_object()) return nullptr;
  Json out;
  for (const char* key : {"duration_s", "usable_s", "container", "codec", "problems"})
    if (whole.contains(key)) out[key] = whole[key];
  return out;
}

}  // namespace gearhark::workbench
