// The spectrum of the sound itself per shaft turn: where tones locked to a shaft (mesh, joints, tyres) stand.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "gearhark/speed/tracking.hpp"
#include "gearhark/units/quantity.hpp"

namespace gearhark {

struct OrderSpectrum {
  double turns = 0.0;             // of the reference shaft; bin width = 1/turns orders
  double mean_rate = 0.0;         // turns per second
  double pieces = 1.0;            // spectra averaged
  std::vector<float> power;       // per bin, level-normalised sound, Hann
  std::vector<float> background;  // noise power per bin, from the median of its neighbours
  [[nodiscard]] std::size_t bin(double order) const;
  // Power within +-half_width_orders of an order over the background there, less the background's own share:
  // 0 = nothing above it, in units of one background bin.
  [[nodiscard]] double line_excess(double order, double half_width_orders) const;
  // Mean power of those bins over the background, and the probability that noise alone is as strong there.
  struct Strength {
    double over_background = 1.0, chance = 1.0;
  };
  [[nodiscard]] Strength strength(double order, double half_width_orders) const;
  // Half width that holds a line in spite of what is left of the speed's error: a few bins and a share of the
  // order.
  [[nodiscard]] double usual_half_width(double order) const;
};

// samples: mono. Each half second is brought to the same level first, so that a sweep does not weigh its loud
// end alone. `turns`: as equal_angle() takes them.
OrderSpectrum order_spectrum(std::span<const float> samples, double rate_hz, const AngleTrack& reference,
                             std::optional<double> turns = {});

}  // namespace gearhark
