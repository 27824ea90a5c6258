// How far every bin of a short-time spectrum stands above its background, as votes need it.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <vector>

#include "flatten.hpp"

namespace gearhark::tracking {

inline constexpr double kHighestHz = 3600.0;

// The log Bayes factor of "a line of unknown strength" against "noise alone" in a bin, in 256 steps:
//   BF(r) = mean over xi of exp(r xi/(1+xi)) / (1+xi), xi = 1, 3, 10, 30, 100, 300; r = power / background,
// exponentially distributed with mean 1 in noise. The cap keeps one strong line from outvoting the others.
class BayesCode {
 public:
  static constexpr double kLow = -1.95, kHigh = 2.5;
  static double log_factor(std::uint8_t code) { return kLow + (kHigh - kLow) * code / 255.0; }
  static std::uint8_t of_ratio(float ratio);
  static std::uint8_t neutral() { return static_cast<std::uint8_t>(-kLow / (kHigh - kLow) * 255.0 + 0.5); }
};

// bins x frames, one code each.
struct Ratios {
  double frame_step_s = 0.0, first_frame_s = 0.0;  // centres, flat time
  double bin_hz = 0.0, lowest_hz = 55.0, highest_hz = kHighestHz;
  std::size_t frames = 0, bins = 0;
  std::vector<std::uint8_t> codes;
  [[nodiscard]] std::span<const std::uint8_t> of_bin(std::size_t bin) const {
    return std::span(codes).subspan(bin * frames, frames);
  }
  [[nodiscard]] double time_of(std::size_t i) const {
    return first_frame_s + static_cast<double>(i) * frame_step_s;
  }
};

struct Framing {
  double window_s = 0.5, hop_s = 0.125;
  double lowest_hz = 55.0, highest_hz = kHighestHz;  // of the lines that are used
};

// Hann frames, twice zero-padded; background: medians of 150 Hz blocks every 50 Hz, joined linearly.
Ratios line_ratios(const FlatSound& flat, Framing framing);

// A sound along a track.
struct Heard {
  FlatSound flat;
  Ratios ratios;
};

}  // namespace gearhark::tracking
