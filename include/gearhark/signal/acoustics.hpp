// How sound is weighed by ear: A-weighting, third-octave bands, and when a tone stands out.
#pragma once

#include <cstddef>
#include <span>

#include "gearhark/units/quantity.hpp"

namespace gearhark {

// Gain of the A-weighting at a frequency > 0: IEC 61672-1, analytic form, 0 dB at 1 kHz.
Decibels a_weighting(Hertz frequency);

// Exact midband of the third-octave band `bands` above (below: negative) the one at 1 kHz, and its edges;
// IEC 61260-1, base ten: 1000 Hz x 10^(bands/10).
Hertz third_octave_midband(int bands);
struct Band {
  Hertz low, high;
};
Band third_octave_band(int bands);

// The critical band round a frequency, and its width (Zwicker): ECMA-418-1. Up to 500 Hz the band lies evenly
// round its centre; above, the centre is the geometric mean of its edges.
Hertz critical_bandwidth(Hertz centre);
Band critical_band(Hertz centre);

// The bands just below and above the critical band that a prominence ratio compares it with: ECMA-418-1.
Band critical_band_below(Hertz centre);
Band critical_band_above(Hertz centre);

// Where ECMA-418-1 judges tones: the third-octave bands from 100 Hz to 10 kHz.
bool tone_can_be_judged(Hertz frequency);
// A tone this far or further over the noise in its critical band is prominent: tone-to-noise criterion.
Decibels prominent_tone_to_noise(Hertz frequency);
// A critical band this far or further over its neighbours is prominent: prominence-ratio criterion.
Decibels prominent_ratio(Hertz frequency);

// Level of the critical band round `centre` over the mean power of the bands beside it. Below 171.4 Hz, where
// the lower band is cut off at 20 Hz, its power is scaled up to a width of 100 Hz. power: per bin, bin k at
// k * bin_hz; bins are shared out between bands by the part of each that lies inside.
Decibels prominence_ratio(std::span<const float> power, double bin_hz, Hertz centre);

// Level of a tone (the bins from tone.low to tone.high, less the noise under them) over the rest of its
// critical band, as noise over its whole width.
Decibels tone_to_noise(std::span<const float> power, double bin_hz, Band tone);

}  // namespace gearhark
