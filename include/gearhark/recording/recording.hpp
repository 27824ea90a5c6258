// A phone recording as samples in memory, and what its file says of itself.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gearhark/units/quantity.hpp"
#include "gearhark/units/result.hpp"

namespace gearhark {

struct RecordingFacts {
  std::string file;       // as the user wrote it
  std::string container;  // "WAV", "M4A", "Ogg", ...
  std::string codec;      // "AAC", "ALAC", "Opus", "PCM 16 bit", ...
  int channels = 1;
  double bit_rate = 0.0;  // bits per second; 0: not stated or lossless
  Seconds duration;       // of the whole file
  std::string note;       // "two channels: the left one was used", "" for nothing to say
};

// Mono samples, full scale +-1, at the file's native rate.
struct Recording {
  RecordingFacts facts;
  double sample_rate = 0.0;  // Hz
  std::vector<float> samples;
  [[nodiscard]] Seconds duration() const {
    return Seconds(sample_rate > 0.0 ? static_cast<double>(samples.size()) / sample_rate : 0.0);
  }
};

// The part of a file that is wanted, counted from its start.
struct Cut {
  Seconds from{0.0};
  std::optional<Seconds> to;  // none: to the end
};

// Decodes a file, or a part of it, into memory: 4 bytes a sample, at most 2^28 samples (an hour and a half at
// 48 kHz) and four hours, however long the file says it is. A file that was cut off yields what is there, and
// says so in the note. Silence is not an error here. Errors: those of SoundReader::open, a part that lies
// outside the file or is too long, a cut-off file with under a second left.
Result<Recording> load_recording(const std::string& path, const Cut& cut = {});
// Several parts of one file, decoded once, in the order given (at least one; the limit is for all together).
// `name`: what messages and facts call the file, where that is not its path.
Result<std::vector<Recording>> load_parts(const std::string& path, const std::vector<Cut>& cuts,
                                          const std::string& name = "");

}  // namespace gearhark
