#include "bundle_runs.hpp"

#include <toml++/toml.h>

#include <algorithm>

namespace gearhark::workbench {
namespace {

// Letters, digits, and what stands between them: no folder, and no dot in front.
bool plain_name(std::string_view name) {
  const auto plain = [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_' ||
           c == '-' || c == '.';
  };
  return !name.empty() && name.size() <= 64 && name.front() != '.' &&
         std::all_of(name.begin(), name.end(), plain);
}

std::string word(const toml::table& of, std::string_view key, std::string otherwise = "") {
  if (const auto number = of[key].value_exact<std::int64_t>()) return std::to_string(*number);
  return of[key].value<std::string>().value_or(std::move(otherwise));
}

BundleRun run_of(const toml::table& recording) {
  BundleRun out;
  RunNotes& notes = out.notes;
  out.sound = word(recording, "file");
  out.log = word(recording, "speed_file");
  notes.gear = word(recording, "gear");
  notes.load = word(recording, "load");
  notes.turn = word(recording, "turn", notes.turn);
  notes.clutch = word(recording, "clutch", notes.clutch);
  notes.from = word(recording, "from");
  notes.to = word(recording, "to");
  notes.speed = word(recording, out.log.empty() ? "speed" : "recording_starts");
  notes.speed_kind = out.log.empty() ? word(recording, "speed_source", notes.speed_kind) : "log";
  return out;
}

}  // namespace

bool looks_like_bundle(std::string_view first_bytes) { return first_bytes.starts_with("PK\x03\x04"); }

std::optional<std::vector<BundleRun>> bundle_runs(const std::string& road_test) {
  std::vector<BundleRun> out;
  try {
    const toml::table whole = toml::parse(road_test);
    const toml::array* recordings = whole["recording"].as_array();
    for (std::size_t i = 0; recordings && i < recordings->size(); ++i) {
      const toml::table* recording = recordings->get(i)->as_table();
      if (!recording) return std::nullopt;
      out.push_back(run_of(*recording));
      if (!plain_name(out.back().sound) || (!out.back().log.empty() && !plain_name(out.back().log)))
        return std::nullopt;
    }
  } catch (const toml::parse_error&) {
    return std::nullopt;
  }
  return out;
}

}  // namespace gearhark::workbench
