// A few seconds of each suspect that was heard, to be played from a report page.
#pragma once

#include <string>
#include <vector>

#include "gearhark/diagnosis/exhibits.hpp"
#include "gearhark/diagnosis/hearing.hpp"

namespace gearhark {

struct Clip {
  std::string part;
  Fault fault = Fault::outer_race;
  int recording = 0;  // index into Diagnosis::runs
  Seconds from, duration;
  Hertz low, high;                 // the band
  double rate_hz = 0.0;            // of the samples
  std::vector<float> alone;        // the band without the tones of a sound car, gain_matched()
  std::vector<float> as_recorded;  // the same seconds untouched but for the gain; of the first suspect alone
};

struct ClipSettings {
  Seconds longest{4.0};
  double rate_hz = 16000.0;
};

// Of the suspects with exhibits, in the run shown there, those of which lines stand out. None where the
// verdict is that no fault was heard.
std::vector<Clip> clips(const Car& car, const std::vector<RunSound>& sounds, const Hearing& hearing,
                        const Diagnosis& diagnosis, const Exhibits& exhibits,
                        const ClipSettings& settings = {});

// The same whatever the verdict.
std::vector<Clip> clips(const Car& car, const std::vector<RunSound>& sounds, const Hearing& hearing,
                        const Exhibits& exhibits, const ClipSettings& settings = {});

// 16 bits, one channel, RIFF WAVE.
std::string wav_bytes(const std::vector<float>& samples, double rate_hz);

}  // namespace gearhark
