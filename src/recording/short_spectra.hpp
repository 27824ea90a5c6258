// One pass of short transforms over a recording: the mean spectrum, and band levels against time.
#pragma once

#include <span>
#include <vector>

namespace gearhark {

struct ShortSpectra {
  double bin_hz = 0.0;                          // width of a bin
  std::vector<double> density;                  // mean power re full scale squared per Hz, per bin
  double step_s = 0.0;                          // from one band level to the next
  std::vector<std::vector<float>> band_levels;  // per band of `bands`, dB re full scale, per step
};

struct Band {
  double low_hz, high_hz;
};

// The first is where wind is, the second and third where the car is loudest; octaves above.
inline constexpr Band bands[] = {{20, 120},    {250, 500},   {500, 1000},  {1000, 2000},
                                 {2000, 4000}, {4000, 8000}, {8000, 16000}};

ShortSpectra short_spectra(std::span<const float> samples, double rate_hz);

// The frequency above which the spectrum holds nothing: a codec's or filter's edge, or the end of what rises
// above `floor_density`.
double bandwidth_of(const ShortSpectra& spectra, double floor_density);

}  // namespace gearhark
