// Tapering windows for spectra, and the constants that turn windowed spectra into levels.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "gearhark/units/quantity.hpp"

namespace gearhark {

// Harris, "On the use of windows for harmonic analysis with the discrete Fourier transform", Proc. IEEE 66,
// 1978. `blackman_harris` is its four-term window of -92 dB.
enum class Window { rectangular, triangular, hann, hamming, blackman, blackman_harris };

// `length` weights, peak 1, periodic ("DFT-even"): one more sample would close the period.
std::vector<float> window_weights(Window shape, std::size_t length);

// Mean weight: the height of a tone on a bin is amplitude/2 times this, times the length.
double coherent_gain(std::span<const float> weights);
// Width in bins of the rectangle that passes as much white noise as the window does.
double noise_bandwidth_bins(std::span<const float> weights);
// How much lower (a positive number) a tone half way between bins reads than one on a bin.
Decibels scalloping_loss(std::span<const float> weights);
// Correlation between white noise seen through two windows `hop` samples apart; 0 from hop = length on.
double overlap_correlation(std::span<const float> weights, std::size_t hop);

// Kaiser's window at u in -1..1 (0 outside, 1 in the middle), by the modified Bessel function I0(beta).
double kaiser(double u, double beta);
// The same at many places.
class Kaiser {
 public:
  explicit Kaiser(double beta);
  double operator()(double u) const;

 private:
  double beta_, middle_;
};

}  // namespace gearhark
