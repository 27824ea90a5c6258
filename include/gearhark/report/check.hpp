// What `gearhark check` tells of one recording, as text and JSON.
#pragma once

#include <string>

#include "gearhark/recording/quality.hpp"

namespace gearhark {

// A line per measurement, then what is wrong and what to do again.
std::string check_text(const Recording& recording, const RecordingQuality& quality);
// One object; frequencies in Hz, times in s, levels in dB.
std::string check_json(const Recording& recording, const RecordingQuality& quality);

}  // namespace gearhark
