#include "gearhark/report/check.hpp"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <nlohmann/json.hpp>

#include "gearhark/report/speed.hpp"
#include "processing_words.hpp"
#include "wrap.hpp"

namespace gearhark {
namespace {

using Json = nlohmann::ordered_json;

std::string plural(std::size_t count, std::string_view word, std::string_view ending = "s") {
  return fmt::format("{} {}{}", count, word, count == 1 ? "" : ending);
}

std::string row(std::string_view name, std::string_view value) {
  return fmt::format("  {:<15} {}\n", name, value);
}

std::string format_words(const Recording& recording) {
  const RecordingFacts& facts = recording.facts;
  std::string words =
      facts.container == facts.codec ? facts.container : fmt::format("{}, {}", facts.container, facts.codec);
  if (facts.bit_rate > 0.0) words += fmt::format(", {:.0f} kb/s", facts.bit_rate / 1000.0);
  return words + fmt::format(", {:g} kHz, {}, {:.1f} s", recording.sample_rate / 1000.0,
                             plural(static_cast<std::size_t>(facts.channels), "channel"),
                             facts.duration.value());
}

std::string bumps_words(const RecordingQuality& quality) {
  return quality.bumps_per_minute > 0.0 ? fmt::format("{:.1f} a minute", quality.bumps_per_minute) : "none";
}

std::string clipping_words(const RecordingQuality& quality) {
  if (quality.clipped_share <= 0.0) return "none";
  return fmt::format("{:.2g} % of the samples at full scale", 100.0 * quality.clipped_share);
}

std::string dropout_words(const RecordingQuality& quality) {
  if (quality.dropouts == 0) return "none";
  return fmt::format("{}, {:.2f} s together", quality.dropouts, quality.dropped.value());
}

std::string measurements(const Recording& recording, const RecordingQuality& quality) {
  return row("real bandwidth", fmt::format("{:.1f} kHz of {:g} kHz", quality.bandwidth.value() / 1000.0,
                                           recording.sample_rate / 2000.0)) +
         row("level", fmt::format("{:.1f} dB re full scale", quality.level.value())) +
         row("clipping", clipping_words(quality)) +
         row("level pumping",
             fmt::format("{:.1f} dB swing of all bands together", quality.level_pumping_db)) +
         row("wind", fmt::format("gusts rise {:.1f} dB above the calm", quality.wind_db)) +
         row("dropouts", dropout_words(quality)) + row("bumps", bumps_words(quality));
}

std::string verdict_words(const RecordingQuality& quality) {
  if (quality.problems.empty()) return "Nothing wrong found: this recording can be used.\n";
  std::string words = quality.problems.front().serious
                          ? "Something is seriously wrong; do this and record again:\n"
                          : "Usable, but not at its best; next time:\n";
  for (const Problem& problem : quality.problems)
    words += fmt::format("  {} {}: {}\n    {}\n", problem.serious ? "!" : "-", problem.what, problem.sentence,
                         problem.cure);
  return words;
}

std::string speed_words(const SpeedCheck& speed) {
  const Tracking& tracking = speed.tracking;
  if (tracking.certainty == Certainty::lost) return "not found in the sound";
  const std::string correction = correction_text(speed.stated, tracking);
  return fmt::format("wheels {:.3f} +- {:.3f} turns/s{}{}", tracking.wheel.mean_rate(),
                     tracking.wheel_rate_sd, correction.empty() ? "" : ": ", correction);
}

std::string speed_rows(const SpeedCheck& speed) {
  std::string out = row("speed", speed_words(speed));
  for (const std::string& remark : speed.tracking.remarks) out += report::wrapped("  ! ", remark);
  return out;
}

constexpr std::array certainty_words = {"sure", "doubtful", "lost"};

Json speed_json(const SpeedCheck& speed) {
  const Tracking& tracking = speed.tracking;
  return {{"mean_wheel_hz", tracking.wheel.mean_rate()},
          {"mean_wheel_hz_sd", tracking.wheel_rate_sd},
          {"speed_scale", tracking.scale},
          {"speed_scale_sd", tracking.scale_sd},
          {"speed_found", certainty_words[static_cast<std::size_t>(tracking.certainty)]},
          {"gear_that_fits", tracking.gear.label},
          {"remarks", tracking.remarks}};
}

Json problems_json(const RecordingQuality& quality) {
  Json list = Json::array();
  for (const Problem& problem : quality.problems)
    list.push_back({{"what", problem.what},
                    {"sentence", problem.sentence},
                    {"cure", problem.cure},
                    {"serious", problem.serious}});
  return list;
}

// Three digits are more than a picture shows.
Json outline_json(const std::vector<float>& outline) {
  Json list = Json::array();
  for (const float largest : outline) list.push_back(std::round(1000.0 * largest) / 1000.0);
  return list;
}

Json stretches_json(const RecordingQuality& quality) {
  Json list = Json::array();
  for (const Stretch& stretch : quality.stretches)
    list.push_back({{"from_s", stretch.from.value()}, {"to_s", stretch.to.value()}});
  return list;
}

}  // namespace

std::string check_text(const Recording& recording, const RecordingQuality& quality,
                       const std::optional<SpeedCheck>& speed, const std::optional<Processing>& processing,
                       std::optional<Seconds> length) {
  std::string out = recording.facts.file + "\n" + row("format", format_words(recording));
  if (!recording.facts.note.empty()) out += row("note", recording.facts.note);
  // Of a silent recording nothing else was measured.
  out += quality.bandwidth.value() > 0.0
             ? measurements(recording, quality)
             : row("level", fmt::format("{:.1f} dB re full scale", quality.level.value()));
  out += row("usable", fmt::format("{:.1f} s of {:.1f} s, in {}", quality.usable.value(),
                                   length.value_or(recording.duration()).value(),
                                   plural(quality.stretches.size(), "stretch", "es")));
  if (processing) {
    out += report::wrapped("  suppression     ", report::suppression_words(*processing));
    out += report::wrapped("  gain control    ", report::gain_words(*processing));
  }
  if (speed) out += speed_rows(*speed);
  return out + verdict_words(quality);
}

std::string check_json(const Recording& recording, const RecordingQuality& quality,
                       const std::optional<SpeedCheck>& speed, const std::vector<float>& outline,
                       const std::optional<Processing>& processing) {
  const RecordingFacts& facts = recording.facts;
  Json value = {{"format", "gearhark check"},
                {"version", 1},
                {"file", facts.file},
                {"container", facts.container},
                {"codec", facts.codec},
                {"channels", facts.channels},
                {"sample_rate_hz", recording.sample_rate},
                {"bit_rate", facts.bit_rate},
                {"duration_s", facts.duration.value()},
                {"note", facts.note},
                {"bandwidth_hz", quality.bandwidth.value()},
                {"level_db", quality.level.value()},
                {"clipped_share", quality.clipped_share},
                {"level_pumping_db", quality.level_pumping_db},
                {"wind_db", quality.wind_db},
                {"dropouts", quality.dropouts},
                {"dropped_s", quality.dropped.value()},
                {"bumps_per_minute", quality.bumps_per_minute},
                {"usable_s", quality.usable.value()},
                {"stretches", stretches_json(quality)},
                {"problems", problems_json(quality)}};
  if (processing) value["processing"] = report::processing_json(*processing);
  if (speed) value["speed"] = speed_json(*speed);
  if (!outline.empty()) value["outline"] = outline_json(outline);
  // A file name need not be UTF-8.
  return value.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace gearhark
