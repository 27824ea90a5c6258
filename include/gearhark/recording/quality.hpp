// How good a recording is: which of its moments can be used, what is wrong with it, and what to do again.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "gearhark/recording/recording.hpp"
#include "gearhark/units/quantity.hpp"

namespace gearhark {

// Part of a recording that may be analysed.
struct Stretch {
  Seconds from, to;
};

// One thing wrong with a recording, with numbers, and what to do about it.
struct Problem {
  std::string what;  // "clipping", "level pumping", "wind", "narrow band", "too short", "dropouts", "bumps",
                     // "too quiet", "silent"
  std::string sentence;  // "1.3 % of the samples are at full scale; ..."
  std::string cure;      // "Put the phone further from the noise ..."
  bool serious = false;  // the verdict suffers
};

struct RecordingQuality {
  Hertz bandwidth;                 // where the codec or the phone cuts off; below it there is sound
  Decibels level;                  // RMS re full scale
  double clipped_share = 0.0;      // of samples
  double level_pumping_db = 0.0;   // swing (highest - lowest) of the gain that moves all bands together
  double wind_db = 0.0;            // how far gusts below 120 Hz rise above the calm, against the middle bands
  double bumps_per_minute = 0.0;   // short broadband impacts
  int dropouts = 0;                // sudden gaps
  Seconds dropped;                 // their length together
  Seconds usable;                  // the stretches together
  std::vector<Stretch> stretches;  // usable ones, in order: bumps, gaps and clipped moments are cut out
  std::vector<Problem> problems;   // worst first
};

// Pure: looks at the samples alone. Speech and indicator ticks are not looked for.
RecordingQuality assess(const Recording& recording);

// Of a long recording, piece by piece: what assess() would say of the whole but for what lies across the
// joints. Swings and gusts are the mean of the pieces'.
class QualityOfPieces {
 public:
  void add(const Recording& piece);
  [[nodiscard]] RecordingQuality whole() const;

 private:
  RecordingQuality sum_;  // level and bandwidth are kept apart
  double power_ = 0.0, seconds_ = 0.0, bumps_ = 0.0;
  double heard_s_ = 0.0, gain_variance_ = 0.0, wind_ = 0.0;  // over the pieces that are not silent
  std::vector<std::pair<double, double>> bandwidths_;        // and seconds
};

}  // namespace gearhark
