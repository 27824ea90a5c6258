// What `gearhark check` tells of one recording, as text and JSON.
#pragma once

#include <optional>
#include <string>

#include "gearhark/recording/processing.hpp"
#include "gearhark/recording/quality.hpp"
#include "gearhark/speed/tracking.hpp"

namespace gearhark {

// What the sound says of the car's speed, where car, gear and speed were given.
struct SpeedCheck {
  StatedSpeed stated;
  Tracking tracking;
};

// A line per measurement, then what is wrong and what to do again.
std::string check_text(const Recording& recording, const RecordingQuality& quality,
                       const std::optional<SpeedCheck>& speed = {},
                       const std::optional<Processing>& processing = {});
// One object; frequencies in Hz, times in s, levels in dB. `outline_parts`: with the recording's outline in
// so many parts; 0: without.
std::string check_json(const Recording& recording, const RecordingQuality& quality,
                       const std::optional<SpeedCheck>& speed = {}, std::size_t outline_parts = 0,
                       const std::optional<Processing>& processing = {});

}  // namespace gearhark
