// The suspect's sound alone, for the ear: its band, without the tones that a sound car makes.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "gearhark/car/lines.hpp"
#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/diagnosis/hearing.hpp"

namespace gearhark {

// One band of a recording, with tones locked to a shaft taken out. Edges are raised cosines a tenth of the
// band's width wide, outside it; beyond them nothing is left. `notched`: orders of the shaft, taken out as
// wide as what is left of the angle's error smears them. As many samples as given.
std::vector<float> band_alone(std::span<const float> samples, double rate_hz, Hertz low, Hertz high,
                              const AngleTrack& shaft, std::span<const double> notched);

// Louder where the envelope beats in step with the shaft, `beats` times a turn, quieter in between. The
// beat's place is read off the envelope itself, second by second, since bearings slip; what does not beat is
// changed as little as its envelope keeps step by chance, so that noise is given no rhythm.
std::vector<float> beat_brought_out(std::vector<float> samples, double rate_hz, const AngleTrack& shaft,
                                    double beats);

// To -20 dB RMS re full scale, so that files can be compared by ear; less where a sample would pass 0.98 of
// full scale. Silence stays silence.
std::vector<float> gain_matched(std::vector<float> samples);

enum class Emphasis { none, beat };

struct ListenSettings {
  std::string part;                // "": the likeliest suspect
  std::optional<Fault> fault;      // nothing: the fault of that part that is heard best
  std::optional<std::size_t> run;  // nothing: the one in which the fault sounds loudest
  Emphasis emphasis = Emphasis::none;
  std::optional<Stretch> stretch = {};  // of the run; nothing: all of it
};

struct Listening {
  std::string part, name;
  Fault fault = Fault::outer_race;
  std::size_t run = 0;
  Probability probability;
  Hertz low, high;
  std::vector<double> notched;  // orders, per turn of the driven wheels
  Hertz beat{0.0};              // at the run's mean rate, where it was brought out; else 0
  Tracking tracking;            // of that run
  std::vector<float> samples;   // at the recording's rate
  double rate_hz = 0.0;
  std::vector<std::string> cautions;
};

// Errors: a part or run that is not there, a part that does not turn in that run, a run whose speed was not
// found, the beat of a fault that makes tones.
Result<Listening> listen(const Car& car, const std::vector<RunSound>& sounds, const ListenSettings& settings);
// The same of what was heard already.
Result<Listening> listen(const Car& car, const std::vector<RunSound>& sounds, const Hearing& hearing,
                         const ListenSettings& settings);

}  // namespace gearhark
