#include "gearhark/report/bundle.hpp"

#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "processing_words.hpp"
#include "words.hpp"
#include "wrap.hpp"

namespace gearhark {
namespace {

using Json = nlohmann::ordered_json;
using report::clock;
using report::wrapped;

std::string clock_words(const BundleSound& sound) {
  if (sound.clock.empty()) return "nothing says when it was recorded, so it is not used";
  const ClockStretch& first = sound.clock.front();
  return fmt::format("{} to {}, {:.0f} ppm {} by the phone's clock, known to {:.0f} ms", clock(first.from),
                     clock(sound.clock.back().to), std::abs(first.drift_ppm),
                     first.drift_ppm < 0.0 ? "slow" : "fast", std::ceil(1e3 * first.spread_s));
}

std::string setting_words(const SoundSetting& setting) {
  const char* granted = !setting.on ? "the phone did not say" : *setting.on ? "ON" : "off";
  return fmt::format("{}: {}{}", setting.name, granted, setting.asked_off ? ", asked to be off" : "");
}

Json sound_json(const BundleSound& sound, const Processing& processing) {
  Json stretches = Json::array();
  for (const ClockStretch& s : sound.clock)
    stretches.push_back({{"from_s", s.from.value()},
                         {"to_s", s.to.value()},
                         {"first_frame", s.first_frame},
                         {"end_frame", s.end_frame},
                         {"drift_ppm", s.drift_ppm},
                         {"spread_s", s.spread_s}});
  return {{"file", sound.name},
          {"sample_rate_hz", sound.rate_hz},
          {"frames", sound.frames},
          {"stretches", stretches},
          {"processing", report::processing_json(processing)}};
}

}  // namespace

std::string bundle_text(const Bundle& bundle, const BundleCheck& check) {
  std::string out = bundle.file + "\n";
  if (!bundle.notes.started.empty()) out += wrapped("  begun at   ", bundle.notes.started);
  if (!bundle.notes.finished)
    out += wrapped("  ended      ",
                   "by something else than the stop button; what was recorded up to then is here");
  for (std::size_t i = 0; i < bundle.sounds.size(); ++i) {
    out +=
        wrapped("  sound      ", fmt::format("{}: {}", bundle.sounds[i].name, clock_words(bundle.sounds[i])));
    out += wrapped("    suppression  ", report::suppression_words(check.processing[i]));
    out += wrapped("    gain         ", report::gain_words(check.processing[i]));
  }
  for (const BundleGap& gap : bundle.gaps)
    out +=
        wrapped("  gap        ",
                fmt::format("{} to {}: {:.2f} s without sound, or with sound of which the time is not known",
                            clock(gap.from), clock(gap.to), (gap.to - gap.from).value()));
  out += wrapped("  speed      ",
                 bundle.track ? fmt::format("{} fixes by satellite, {} more without a speed that can be used",
                                            bundle.track->points.size(), bundle.track->without_fix)
                              : "none by satellite");
  for (const SoundSetting& setting : bundle.notes.settings)
    out += wrapped("  phone      ", setting_words(setting));
  for (const std::string& sentence : check.left_out) out += wrapped("  not used   ", sentence);
  for (const std::string& run : check.runs) out += "\n" + run;
  return out;
}

std::string bundle_json(const Bundle& bundle, const BundleCheck& check) {
  Json sounds = Json::array(), gaps = Json::array(), settings = Json::array(), runs = Json::array();
  for (std::size_t i = 0; i < bundle.sounds.size(); ++i)
    sounds.push_back(sound_json(bundle.sounds[i], check.processing[i]));
  for (const BundleGap& gap : bundle.gaps)
    gaps.push_back({{"from_s", gap.from.value()}, {"to_s", gap.to.value()}});
  for (const SoundSetting& s : bundle.notes.settings)
    settings.push_back(
        {{"name", s.name}, {"asked_off", s.asked_off}, {"on", s.on ? Json(*s.on) : Json(nullptr)}});
  for (const std::string& run : check.runs) runs.push_back(Json::parse(run));
  const Json out{{"format", "gearhark bundle check"},
                 {"version", 1},
                 {"file", bundle.file},
                 {"started", bundle.notes.started},
                 {"finished", bundle.notes.finished},
                 {"sounds", sounds},
                 {"gaps", gaps},
                 {"fixes", bundle.track ? bundle.track->points.size() : 0},
                 {"settings", settings},
                 {"left_out", check.left_out},
                 {"runs", runs}};
  return out.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace gearhark
