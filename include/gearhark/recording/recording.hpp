// A phone recording as samples in memory, and what its file says of itself.
#pragma once

#include <string>
#include <vector>

#include "gearhark/units/quantity.hpp"
#include "gearhark/units/result.hpp"

namespace gearhark {

struct RecordingFacts {
  std::string file;         // as the user wrote it
  std::string container;    // "WAV", "M4A", "Ogg", ...
  std::string codec;        // "AAC", "ALAC", "Opus", "PCM 16 bit", ...
  int channels = 1;
  double bit_rate = 0.0;    // bits per second; 0: not stated or lossless
  Seconds duration;
  std::string note;         // "two channels: the left one was used", "" for nothing to say
};

// Mono samples, full scale +-1, at the file's native rate.
struct Recording {
  RecordingFacts facts;
  double sample_rate = 0.0;       // Hz
  std::vector<float> samples;
  [[nodiscard]] Seconds duration() const { return Seconds(static_cast<double>(samples.size()) / sample_rate); }
};

// Decodes a whole file. Errors: one sentence with the file and the cure (missing, empty, not sound, truncated, silent
// is not an error here).
Result<Recording> load_recording(const std::string& path);

// Part of a recording that may be analysed.
struct Stretch {
  Seconds from, to;
};

// One thing wrong with a recording, with numbers, and what to do about it.
struct Problem {
  std::string what;      // "clipping", "level pumping", "wind", "narrow band", "too short", "dropouts", "bumps", "too quiet"
  std::string sentence;  // "1.3 % of the samples are at full scale; ..."
  std::string cure;      // "Put the phone further from the noise ..."
  bool serious = false;  // the verdict suffers
};

struct RecordingQuality {
  Hertz bandwidth;                  // where the codec or the phone cuts off
  Decibels level;                   // RMS re full scale
  double clipped_share = 0.0;       // of samples
  double level_pumping_db = 0.0;    // swing of the slow gain that the phone added
  double wind_db = 0.0;             // low-frequency surplus
  double bumps_per_minute = 0.0;
  Seconds usable;
  std::vector<Stretch> stretches;   // usable ones, in order
  std::vector<Problem> problems;    // worst first
};

// Pure: looks at the samples alone.
RecordingQuality assess(const Recording& recording);

}  // namespace gearhark
