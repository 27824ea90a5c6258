#include "batch_list.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>

#include "gearhark/units/text.hpp"

namespace gearhark::cli {
namespace {

using Json = nlohmann::ordered_json;

// Thrown within a line only.
struct Unclear {
  std::string why;
};

// JSON's strings, numbers and booleans are written as TOML writes them.
std::string toml_entries(const Json& table, std::initializer_list<std::string_view> left_out) {
  std::string out;
  for (const auto& [key, value] : table.items()) {
    if (std::find(left_out.begin(), left_out.end(), key) != left_out.end()) continue;
    if (value.is_structured() || value.is_null())
      throw Unclear{fmt::format("\"{}\" must be text, a number, or true or false", key)};
    out += fmt::format("{} = {}\n", Json(key).dump(), value.dump());
  }
  return out;
}

std::string toml_of(const Json& road_test) {
  std::string out = toml_entries(road_test, {"case", "recording"});
  const Json recordings = road_test.value("recording", Json::array());
  if (!recordings.is_array()) throw Unclear{"\"recording\" must be a list of recordings"};
  for (const Json& recording : recordings) {
    if (!recording.is_object()) throw Unclear{"\"recording\" must be a list of recordings"};
    out += "[[recording]]\n" + toml_entries(recording, {});
  }
  return out;
}

std::string text_in(const Json& line, const char* key) {
  if (!line.contains(key)) return "";
  if (!line[key].is_string() || line[key].get_ref<const std::string&>().empty())
    throw Unclear{fmt::format("\"{}\" must be text", key)};
  return line[key].get<std::string>();
}

void read_json(ListedCase& out, std::string_view text) {
  const Json line = Json::parse(text, nullptr, false);
  if (!line.is_object())
    throw Unclear{"this line is no JSON object; write one, or the path of a road-test file"};
  out.name = text_in(line, "case");
  out.road_test = text_in(line, "road_test");
  if (out.road_test.empty()) {
    if (out.name.empty()) throw Unclear{"\"case\" is missing; give the case a name"};
    out.toml = toml_of(line);
  } else if (line.size() > (out.name.empty() ? 1u : 2u)) {
    throw Unclear{"beside \"road_test\" only \"case\" may stand: the file says the rest"};
  }
  if (out.name.empty()) out.name = valid_utf8(out.road_test);
}

ListedCase case_of_line(std::string_view text, const std::string& place) {
  ListedCase out;
  out.place = place;
  try {
    if (text.front() == '{') {
      read_json(out, text);
    } else {
      out.road_test = text;
      out.name = valid_utf8(out.road_test);  // names travel through JSON, and are to stay the same
    }
  } catch (const Unclear& unclear) {
    out.error = fmt::format("{}: {}", place, unclear.why);
  }
  if (out.name.empty()) out.name = valid_utf8(place);
  return out;
}

std::string_view trimmed(std::string_view text) {
  const auto from = text.find_first_not_of(" \t\r");
  return from == text.npos ? "" : text.substr(from, text.find_last_not_of(" \t\r") - from + 1);
}

// The text made of a JSON line has lines and columns that nobody sees: its place is the list's line.
Error in_list(const Error& error, const std::string& shown, const std::string& place) {
  if (!error.sentence.starts_with(shown + ":")) return error;
  const auto after = error.sentence.find_first_not_of("0123456789:", shown.size());
  return Error{place + ":" + (after == std::string::npos ? "" : error.sentence.substr(after))};
}

}  // namespace

std::vector<ListedCase> cases_of_list(std::string_view text, const std::string& file) {
  std::vector<ListedCase> out;
  std::map<std::string, std::string> places;
  for (std::size_t number = 1, at = 0; at < text.size(); ++number) {
    const auto end = std::min(text.find('\n', at), text.size());
    const std::string_view line = trimmed(text.substr(at, end - at));
    at = end + 1;
    if (line.empty() || line.front() == '#') continue;
    ListedCase listed = case_of_line(line, fmt::format("{}:{}", file, number));
    const auto [first, fresh] = places.emplace(listed.name, listed.place);
    if (!fresh && listed.error.empty())
      listed.error = fmt::format("{}: the case \"{}\" stands at {} already; give each case a name of its own",
                                 listed.place, listed.name, first->second);
    out.push_back(std::move(listed));
  }
  return out;
}

Result<RoadTest> road_test_of(const ListedCase& listed) {
  if (!listed.error.empty()) return Error{listed.error};
  if (!listed.road_test.empty()) return load_road_test(listed.road_test);
  // Without a folder, so that paths count from the current one.
  const std::string shown = std::filesystem::path(listed.place).filename().string();
  auto test = read_road_test(listed.toml, shown);
  if (!test) return in_list(test.error(), shown, listed.place);
  return test;
}

}  // namespace gearhark::cli
