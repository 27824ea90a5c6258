// Which of a file's channels to hear: one listen through the whole file decides.
#pragma once

#include <string>
#include <vector>

#include "source.hpp"

namespace gearhark {

struct ChannelChoice {
  std::vector<float> weights;  // per channel; the mono sample is the weighted sum
  double not_numbers = 0.0;    // share of NaN and infinite samples in what is heard
  double peak = 0.0;           // of the numbers heard
  std::string note;            // "" for a file of one channel
};

// Reads the source to its end.
ChannelChoice choose_channels(Source& source);

}  // namespace gearhark
