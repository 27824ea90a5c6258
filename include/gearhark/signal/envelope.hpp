// Envelopes of bands, and what makes impacts stand out of a sound before one is taken.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "gearhark/signal/spectrum.hpp"
#include "gearhark/units/quantity.hpp"

namespace gearhark {

// Magnitude of the analytic signal of a band (its part between two frequencies at positive frequencies only,
// times two): a tone of amplitude a in the band gives a everywhere. As many values as samples; `low` <
// `high`, held within 0 and half the rate. The band's edges are raised cosines a tenth of its width wide
// (inside it), so the envelope of an impact does not ring for long.
std::vector<float> band_envelope(std::span<const float> samples, double rate_hz, Hertz low, Hertz high);

// In place: log(1 + power / local mean), the mean over `width` values about each. Follows small excesses of
// power as they are and large ones by their logarithm. Of a small change of mean power in exponential noise
// (|transform|^2 of Gaussian noise) it keeps 92 % of the information, where log(power) keeps 6/pi^2 = 61 %:
// the squared correlation with power itself, which is all there is to know (its score). Silence stays 0.
void compress_power(std::vector<float>& power, std::size_t width);

// Spectral kurtosis per bin, m4 / m2^2 - 2 over the frames: 0 for stationary Gaussian noise, -1 for a steady
// tone, large where a band holds rare bursts. Antoni, Mechanical Systems and Signal Processing 20, 2006. The
// first and last bin are real and come out 1 higher for noise. Fewer than two frames: zeros.
std::vector<float> spectral_kurtosis(std::span<const float> samples, const Frames& frames);

// spectral_kurtosis() with Hann windows of several lengths, each at half its length, in one reading of the
// samples: where and how long bursts are (a kurtogram).
std::vector<std::vector<float>> kurtogram(std::span<const float> samples,
                                          std::span<const std::size_t> windows);

// The kurtosis that remains when noise of `noise_to_signal` times the signal's power is added:
// kurtosis / (1 + noise_to_signal)^2. Antoni 2006.
double kurtosis_in_noise(double kurtosis, double noise_to_signal);

// The signal with every spectral magnitude set to one (cepstrum pre-whitening): all steady tones become as
// weak as everything else, impacts remain. Borghesani, Pennacchi, Randall, Sawalhi and Ricci, Mechanical
// Systems and Signal Processing 36, 2013. Zeros are added up to a good length first and cut off again; scaled
// to a mean square of 1. Bins that are zero stay zero. A silent signal stays silent.
std::vector<float> prewhitened(std::span<const float> samples);

}  // namespace gearhark
