#include "gearhark/recording/outline.hpp"

#include <algorithm>
#include <cmath>

namespace gearhark {

std::vector<float> outline(const Recording& recording, std::size_t parts) {
  const auto& samples = recording.samples;
  parts = std::min(parts, samples.size());
  std::vector<float> out;
  for (std::size_t i = 0; i < parts; ++i) {
    float largest = 0.0F;
    for (std::size_t k = i * samples.size() / parts; k < (i + 1) * samples.size() / parts; ++k)
      largest = std::max(largest, std::abs(samples[k]));
    out.push_back(largest);
  }
  return out;
}

std::vector<float> outline(const LongRecording& recording, std::size_t parts) {
  std::vector<float> out(std::min(parts, recording.samples), 0.0F);
  if (out.empty()) return out;
  std::size_t at = 0, part = 0;
  (void)recording.read([&](std::size_t, const Recording& piece) {
    for (const float x : piece.samples) {
      while ((part + 1) * recording.samples / out.size() <= at) ++part;
      out[part] = std::max(out[part], std::abs(x));
      ++at;
    }
    return true;
  });
  return out;
}

}  // namespace gearhark
