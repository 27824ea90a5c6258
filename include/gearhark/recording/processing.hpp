// Whether the phone worked on the sound before it was stored, told from the sound alone.
//
// Road and wind are noise, and the power of noise in one short transform's bin is spread in one way only,
// exponentially, whatever its spectrum: the 90th percentile lies 5.2 dB above the middle, the 10th 8.0 dB
// below (each bin held against its own middle over 2 s). Noise suppression weighs every bin by how far it
// stands above what is steady, so the spread grows. A kind that weighs slowly leaves no trace once it has
// settled: "no sign of it" is no proof. Tyres on a road grow louder by about the third power of speed, 9 dB
// per doubling (common practice, no published source for cabins). A gain control takes part of that back.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gearhark/recording/quality.hpp"
#include "gearhark/recording/recording.hpp"
#include "gearhark/units/quantity.hpp"

namespace gearhark {

enum class Sign { none, cannot_tell, likely };
std::string to_text(Sign sign);  // "no sign of it", "can't tell", "likely"

struct Processing {
  Sign suppression = Sign::cannot_tell;
  std::string suppression_reason;  // numbers, without a full stop
  double spread_below_db = 0.0;    // 10th percentile below the middle; 0: too little steady sound
  double spread_above_db = 0.0;    // 90th above it
  std::optional<double> sink_db;   // how far the sound sinks over the first seconds; none: too short to tell
  // How much louder a steady line has to be than in noise as it is, to stand out as surely from the uneven
  // bins.
  double suppression_cost_db = 0.0;

  Sign gain_control = Sign::cannot_tell;
  std::string gain_reason;
  std::optional<double> rise;  // exponent of speed by which the power rises; none: speed not known, or steady
  double gain_cost_db = 0.0;  // what of the rise with speed was taken back, over the speeds of this recording
};

struct SpeedAt {
  Seconds time;  // from the start of the recording
  Speed speed;
};

// Pure. Looks at five minutes at most. `speeds`: by time, joined by straight lines; may be empty.
Processing processing_of(const Recording& recording, const std::vector<SpeedAt>& speeds = {});

// What is likely, as problems of the recording (quality.hpp): "noise suppression", "gain control".
std::vector<Problem> problems_of(const Processing& processing);

}  // namespace gearhark
