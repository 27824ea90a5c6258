// What `gearhark check` tells of one recording, as text and JSON.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gearhark/recording/processing.hpp"
#include "gearhark/recording/quality.hpp"
#include "gearhark/speed/tracking.hpp"

namespace gearhark {

// What the sound says of the car's speed, where car, gear and speed were given.
struct SpeedCheck {
  StatedSpeed stated;
  Tracking tracking;
};

// A line per measurement, then what is wrong and what to do again. `length`: of a long recording, which comes
// without its samples.
std::string check_text(const Recording& recording, const RecordingQuality& quality,
                       const std::optional<SpeedCheck>& speed = {},
                       const std::optional<Processing>& processing = {}, std::optional<Seconds> length = {});
// One object; frequencies in Hz, times in s, levels in dB. `outline`: as outline() gives it; empty: left out.
std::string check_json(const Recording& recording, const RecordingQuality& quality,
                       const std::optional<SpeedCheck>& speed = {}, const std::vector<float>& outline = {},
                       const std::optional<Processing>& processing = {});

}  // namespace gearhark
