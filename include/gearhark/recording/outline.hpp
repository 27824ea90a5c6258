// The shape of a recording, to be drawn as its waveform.
#pragma once

#include <vector>

#include "gearhark/recording/recording.hpp"

namespace gearhark {

// The largest sample (re full scale, without sign) of each of `parts` equal parts, in order; fewer parts
// where there are fewer samples. `parts` at least 1.
std::vector<float> outline(const Recording& recording, std::size_t parts);
// Of a long one, as far as it can be read.
std::vector<float> outline(const LongRecording& recording, std::size_t parts);

}  // namespace gearhark
