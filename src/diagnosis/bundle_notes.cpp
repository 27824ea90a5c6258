#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <nlohmann/json.hpp>

#include "gearhark/diagnosis/bundle.hpp"

namespace gearhark {
namespace {

using Json = nlohmann::json;

constexpr double latest_s = 86400.0;  // a day
constexpr double most_frames = 1e11;  // a day at 384 kHz and more
constexpr std::size_t most_taps = 10000, most_anchors = 50000;
constexpr std::array tap_words{"gear", "throttle", "road", "clutch", "run", "end"};

// Thrown within this file only.
struct Unusable {
  std::string why;
};

// A value of bundle.json with its place: "sound[0].anchors[3].time_s".
class At {
 public:
  At(const Json& value, std::string place) : value_(&value), place_(std::move(place)) {}

  [[nodiscard]] bool has(const char* key) const { return value_->is_object() && value_->contains(key); }
  [[nodiscard]] At operator[](const char* key) const {
    const std::string place = place_.empty() ? key : place_ + "." + key;
    if (!has(key)) throw Unusable{fmt::format("\"{}\" is missing", place)};
    return {(*value_)[key], place};
  }
  [[nodiscard]] std::vector<At> list() const {
    if (!value_->is_array()) wrong("a list");
    std::vector<At> out;
    for (std::size_t i = 0; i < value_->size(); ++i)
      out.emplace_back((*value_)[i], fmt::format("{}[{}]", place_, i));
    return out;
  }
  [[nodiscard]] double number(double low, double high) const {
    const double value = value_->is_number() ? value_->get<double>() : NAN;
    if (!(value >= low && value <= high)) wrong(fmt::format("a number from {:.0f} to {:.0f}", low, high));
    return value;
  }
  [[nodiscard]] Seconds time() const { return Seconds(number(0.0, latest_s)); }
  [[nodiscard]] std::string text(std::size_t most = 100) const {
    const auto control = [](char c) { return (c >= 0 && c < 0x20) || c == 0x7f; };
    const std::string* text = value_->get_ptr<const std::string*>();
    if (!text || text->size() > most || std::any_of(text->begin(), text->end(), control))
      wrong(fmt::format("text of at most {} letters, all of them to be seen", most));
    return *text;
  }
  std::size_t word(const std::vector<std::string_view>& words) const {
    const auto at = std::find(words.begin(), words.end(), value_->is_string() ? text() : "");
    if (at == words.end()) wrong(fmt::format("one of {}", fmt::join(words, ", ")));
    return static_cast<std::size_t>(at - words.begin());
  }
  [[nodiscard]] std::optional<bool> yes() const {
    return value_->is_boolean() ? std::optional(value_->get<bool>()) : std::nullopt;
  }
  [[noreturn]] void wrong(const std::string& expected) const {
    std::string found = value_->dump(-1, ' ', true, Json::error_handler_t::replace);
    if (found.size() > 40) found = found.substr(0, 40) + "...";
    throw Unusable{fmt::format("\"{}\" is {}, expected {}", place_, found, expected)};
  }

 private:
  const Json* value_;
  std::string place_;
};

std::vector<ClockAnchor> anchors(const At& piece) {
  std::vector<ClockAnchor> out;
  const auto list = piece["anchors"].list();
  if (list.size() > most_anchors) throw Unusable{fmt::format("\"anchors\" are more than {}", most_anchors)};
  for (const At& entry : list) {
    const ClockAnchor anchor{entry["frame"].number(0.0, most_frames), entry["time_s"].time()};
    if (!out.empty() && anchor.frame <= out.back().frame)
      entry["frame"].wrong(fmt::format("more than the {:.0f} of the anchor before", out.back().frame));
    if (!out.empty() && anchor.time < out.back().time)
      entry["time_s"].wrong(
          fmt::format("not less than the {:.3f} of the anchor before", out.back().time.value()));
    out.push_back(anchor);
  }
  return out;
}

template <class Words>
std::vector<std::string_view> listed(const Words& words) {
  return {words.begin(), words.end()};
}

BundleTap tap(const At& entry) {
  BundleTap out;
  out.time = entry["time_s"].time();
  out.kind = static_cast<TapKind>(entry["kind"].word(listed(tap_words)));
  if (out.kind != TapKind::end || entry.has("value")) out.value = entry["value"].text(40);
  if (out.value.empty()) return out;
  if (out.kind == TapKind::throttle) entry["value"].word(listed(load_words));
  if (out.kind == TapKind::road) entry["value"].word(listed(turn_words));
  if (out.kind == TapKind::clutch) entry["value"].word({"engaged", "pedal down"});
  return out;
}

// A sweep goes from one end of the time told to the other.
SpeedTold told(const At& entry) {
  SpeedTold out{entry["from_s"].time(), entry["to_s"].time(), {}};
  if (out.to <= out.from) entry["to_s"].wrong("more than from_s");
  const auto speed = parse_stated_speed(entry["speed"].text());
  if (!speed) throw Unusable{fmt::format("speeds_told: {}", speed.error().sentence)};
  out.speed = *speed;
  for (SpeedPoint& point : out.speed.points)
    point.time = point.time == end_of_run ? out.to : point.time + out.from;
  return out;
}

// Free-form, from a browser: what is not as expected is not said.
std::vector<SoundSetting> settings(const At& root) {
  std::vector<SoundSetting> out;
  for (const char* name : {"autoGainControl", "noiseSuppression", "echoCancellation"}) {
    SoundSetting setting{name, false, {}};
    if (!root.has("phone")) return out;
    const At phone = root["phone"];
    if (phone.has("asked") && phone["asked"].has(name))
      setting.asked_off = phone["asked"][name].yes() == false;
    if (phone.has("granted") && phone["granted"].has(name)) setting.on = phone["granted"][name].yes();
    out.push_back(setting);
  }
  return out;
}

BundleNotes notes(const At& root) {
  if (!root.has("format") || root["format"].text() != "gearhark road-test bundle")
    throw Unusable{"\"format\" is not \"gearhark road-test bundle\""};
  if (root["version"].number(1.0, 1e9) > 1.0)
    throw Unusable{"\"version\" is newer than this program knows (1); use a newer gearhark"};
  BundleNotes out;
  if (root.has("started")) out.started = root["started"].text();
  if (root.has("finished")) out.finished = root["finished"].yes().value_or(false);
  for (const At& entry : root["sound"].list()) out.sound.push_back({entry["file"].text(), anchors(entry)});
  if (out.sound.empty()) throw Unusable{"\"sound\" lists no piece of sound"};
  const auto taps = root["taps"].list();
  if (taps.size() > most_taps) throw Unusable{fmt::format("\"taps\" are more than {}", most_taps)};
  for (const At& entry : taps) out.taps.push_back(tap(entry));
  std::stable_sort(out.taps.begin(), out.taps.end(),
                   [](const BundleTap& a, const BundleTap& b) { return a.time < b.time; });
  if (root.has("speeds_told"))
    for (const At& entry : root["speeds_told"].list()) out.speeds_told.push_back(told(entry));
  out.settings = settings(root);
  return out;
}

}  // namespace

Result<BundleNotes> read_bundle_notes(std::string_view json, const std::string& place) {
  constexpr const char* cure = "send the bundle from the phone again, or record again";
  try {
    return notes({Json::parse(json), ""});
  } catch (const Json::exception& e) {
    const auto* where = dynamic_cast<const Json::parse_error*>(&e);
    return Error{fmt::format("{} is no JSON from byte {} on; {}", place, where ? where->byte : 1, cure)};
  } catch (const Unusable& unusable) {
    return Error{fmt::format("{}: {}; {}", place, unusable.why, cure)};
  }
}

}  // namespace gearhark
