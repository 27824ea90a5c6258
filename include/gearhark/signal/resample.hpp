// The value of a band-limited signal at any moment, and signals at another rate: windowed-sinc filters.
#pragma once

#include <cstddef>
#include <functional>
#include <span>
#include <vector>

namespace gearhark {

// The signal at each of `times` (seconds from the first sample), equally spaced or not, such as the moments
// at which a shaft has turned by equal angles. Outside the signal: 0. 32-tap Kaiser-windowed sinc from a
// table: error below -80 dB for content under 0.4 of the rate. Where neighbouring times lie further apart
// than the samples, the kernel is stretched to their spacing, so that what lies above 0.6 of the local rate
// is gone and what lies under 0.37 of it (0.4 less one step of the stretch) is kept.
std::vector<float> resample_at(std::span<const float> samples, double rate_hz, std::span<const double> times);
// The same into `out`, of as many values as times.
void resample_at(std::span<const float> samples, double rate_hz, std::span<const double> times,
                 std::span<float> out);
// The times from number `first` on, as many as there is room for.
using TimesFrom = std::function<void(std::size_t first, std::span<double> times)>;
// The same of times that are worked out some hundreds at once, in rising order but for a neighbour or two.
void resample_at(std::span<const float> samples, double rate_hz, const TimesFrom& times,
                 std::span<float> out);

// At another rate, in either direction. Output i is the signal at i / to_hz seconds; there are
// floor(size * to_hz / from_hz) of them. Linear phase, no delay. Flat within 0.001 dB up to 0.41 of the lower
// rate, at least 80 dB down from 0.51 of it on. Both rates > 0.
std::vector<float> resample(std::span<const float> samples, double from_hz, double to_hz);

// Every `factor`-th sample (factor >= 1) after the same low-pass. Output i is the signal at input i * factor.
std::vector<float> decimate(std::span<const float> samples, std::size_t factor);

}  // namespace gearhark
