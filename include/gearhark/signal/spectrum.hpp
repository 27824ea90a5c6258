// Short-time transforms frame by frame, and spectra averaged over frames. Spectrograms are never stored: what
// is to become of a frame happens as it is made.
#pragma once

#include <complex>
#include <cstddef>
#include <functional>
#include <span>
#include <vector>

#include "gearhark/signal/windows.hpp"

namespace gearhark {

// Frame f holds samples f * hop up to f * hop + length; only frames wholly inside the signal count.
struct Frames {
  std::size_t length = 1024;  // samples, >= 1
  std::size_t hop = 512;      // samples, >= 1
  std::size_t transform =
      0;  // points, even, made of 2, 3 and 5, >= length (zeros fill up); 0: good_length(length)
  Window window = Window::hann;
};

std::size_t frame_count(std::size_t samples, const Frames& frames);
// Points of the transform of each frame; bin k stands at k * rate / points, k = 0..points/2.
std::size_t frame_points(const Frames& frames);

// Calls `use` once per frame in order of time, with the bins (0..points/2) of the windowed frame, unscaled.
// They last for the call only.
using FrameUse = std::function<void(std::size_t frame, std::span<const std::complex<float>> bins)>;
void for_each_frame(std::span<const float> samples, const Frames& frames, const FrameUse& use);

// One-sided power density of a signal in its unit squared per hertz; bin k stands at k * bin_hz. The mean
// square of the signal is the sum of the bins times bin_hz.
struct PowerDensity {
  std::vector<float> density;
  double bin_hz = 0.0;
  std::size_t averages = 0;
  double freedom = 0.0;  // degrees of freedom of each bin but the first and last, which have half of them
};

// Welch, IEEE Trans. AU-15, 1967. A signal shorter than a frame gives zeros and 0 averages.
PowerDensity average_spectrum(std::span<const float> samples, double rate_hz, const Frames& frames);

}  // namespace gearhark
