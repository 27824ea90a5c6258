#include "road_test_text.hpp"

#include <fmt/format.h>

namespace gearhark::workbench {
namespace {

std::string line(std::string_view key, std::string_view value) {
  return value.empty() ? "" : fmt::format("{} = {}\n", key, toml_string(value));
}

std::string speed_lines(const RunNotes& notes, const std::string& file) {
  if (notes.speed_kind == "log")
    return line("speed_file", file + notes.log) + line("recording_starts", notes.speed);
  if (notes.speed_kind == "between") return line("speed_between", notes.speed);
  if (notes.speed_kind == "engine") return line("engine_speed", notes.speed);
  if (notes.speed_kind == "bench") return line("shaft_rate", notes.speed);
  return line("speed", notes.speed) + line("speed_source", notes.speed_kind);
}

}  // namespace

std::string toml_string(std::string_view text) {
  std::string out = "\"";
  for (const char letter : text) {
    const auto byte = static_cast<unsigned char>(letter);
    if (letter == '"' || letter == '\\') out += '\\';
    if (byte < 0x20 || byte == 0x7f)
      out += fmt::format("\\u{:04x}", byte);
    else
      out += letter;
  }
  return out + "\"";
}

std::string recording_text(const RunNotes& notes, const std::string& file, const std::string& ending) {
  return "\n[[recording]]\n" + line("file", file + ending) + line("gear", notes.gear) +
         line("load", notes.load) + line("turn", notes.turn) + line("clutch", notes.clutch) +
         speed_lines(notes, file) + line("from", notes.from) + line("to", notes.to);
}

std::optional<std::string> missing(const RunNotes& notes) {
  if (notes.gear.empty()) return "say which gear it was in";
  if (notes.load.empty() && notes.gear != "N") return "say what the throttle did";
  if (notes.speed_kind == "log")
    return notes.log.empty() ? std::optional<std::string>("send the speed log") : std::nullopt;
  if (notes.speed.empty()) return "say how fast it went";
  return std::nullopt;
}

}  // namespace gearhark::workbench
