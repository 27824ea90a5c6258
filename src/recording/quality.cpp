#include "gearhark/recording/quality.hpp"

#include <fmt/format.h>

#include <cmath>

namespace gearhark {
namespace {

// Lossy codecs round the flats of clipped peaks, so near full scale counts.
constexpr float full_scale = 0.985F;

}  // namespace

RecordingQuality assess(const Recording& recording) {
  RecordingQuality quality;
  double power = 0.0, clipped = 0.0;
  for (float x : recording.samples) {
    power += static_cast<double>(x) * x;
    if (std::abs(x) >= full_scale) ++clipped;
  }
  const double count = static_cast<double>(recording.samples.size());
  quality.bandwidth = Hertz(recording.sample_rate / 2.0);
  quality.level = Decibels::of_power_ratio(count > 0 ? std::max(power / count, 1e-20) : 1e-20);
  quality.clipped_share = count > 0 ? clipped / count : 0.0;
  quality.usable = recording.duration();
  if (count > 0) quality.stretches = {{Seconds(0.0), quality.usable}};
  return quality;
}

}  // namespace gearhark
