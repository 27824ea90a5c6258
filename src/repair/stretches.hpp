// Spectra per turn of short stretches of a run, one after another, so that levels can be resampled.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "gearhark/speed/angle_track.hpp"
#include "gearhark/units/quantity.hpp"

namespace gearhark::repair {

struct Band {
  Hertz low, high;
};

struct Stretches {
  double turns = 0.0;                     // of the reference shaft, each; bin width 1/turns orders
  double smear = 0.003;                   // half width of a line, of its order
  double reference_db = 0.0;              // power that 1 stands for, in the recording's own units
  std::vector<std::vector<float>> power;  // [stretch][bin], each half a stretch after the one before
  std::vector<float> mean;                // over the stretches
};

// Turns of a stretch, as many as usual or fewer where a run of `turned` turns would make too few of them.
std::size_t turns_of_a_stretch(bool in_band, double turned);

// Of the power of a band (no band: of the sound itself, at `rate_hz`), over its own floor at the time, so
// that a phone's changing gain does not count. turns: made of 2, 3 and 5.
Stretches stretches_of(std::span<const float> samples, double rate_hz, const AngleTrack& shaft,
                       std::optional<Band> band, std::size_t turns);

// How far a set of lines stands above its surroundings, per stretch: sum over the lines of (power in the line
// less the background's share) / background.
struct LineSum {
  std::vector<double> per_stretch;
  [[nodiscard]] double mean() const;
};
// orders: of the reference shaft. `background`: of each line, in the units of `stretches`; see
// background_at().
LineSum line_sum(const Stretches& stretches, std::span<const double> orders,
                 std::span<const double> background);
std::vector<double> background_at(const Stretches& stretches, std::span<const double> orders);

// Floor of the sound in third-octave bands, dB in the recording's own units; bands of nothing are left out by
// NaN. The same list of bands for every recording.
std::vector<double> floors(std::span<const float> samples, double rate_hz, Hertz bandwidth);

}  // namespace gearhark::repair
