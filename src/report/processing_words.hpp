// What the phone did to the sound, in words and for machines.
#pragma once

#include <fmt/format.h>

#include <nlohmann/json.hpp>
#include <string>

#include "gearhark/recording/processing.hpp"

namespace gearhark::report {

inline std::string suppression_words(const Processing& p) {
  std::string out = fmt::format("{}: {}", to_text(p.suppression), p.suppression_reason);
  if (p.suppression == Sign::likely)
    out +=
        fmt::format("; a steady line must be {:.1f} dB louder to stand out as well", p.suppression_cost_db);
  return out;
}

inline std::string gain_words(const Processing& p) {
  std::string out = fmt::format("{}: {}", to_text(p.gain_control), p.gain_reason);
  if (p.gain_control == Sign::likely)
    out += fmt::format("; it took back some {:.0f} dB of the rise", p.gain_cost_db);
  return out;
}

inline nlohmann::ordered_json processing_json(const Processing& p) {
  using Json = nlohmann::ordered_json;
  return {{"noise_suppression", to_text(p.suppression)},
          {"noise_suppression_reason", p.suppression_reason},
          {"spread_below_db", p.spread_below_db},
          {"spread_above_db", p.spread_above_db},
          {"sink_db", p.sink_db ? Json(*p.sink_db) : Json(nullptr)},
          {"noise_suppression_cost_db", p.suppression_cost_db},
          {"gain_control", to_text(p.gain_control)},
          {"gain_control_reason", p.gain_reason},
          {"rise_exponent", p.rise ? Json(*p.rise) : Json(nullptr)},
          {"gain_control_cost_db", p.gain_cost_db}};
}

}  // namespace gearhark::report
