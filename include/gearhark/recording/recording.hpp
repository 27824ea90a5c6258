// A phone recording as samples in memory, and what its file says of itself.
#pragma once

#include <functional>
#include <memory>
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

// A recording too long to be held in memory, read in pieces that can be: about as long as each other, in
// order, without gaps. They can be read again and again, by one caller at a time.
struct LongRecording {
  std::size_t samples = 0;  // all pieces together
  std::size_t pieces = 0;
  // Calls `hear` with each piece and its number, until it says false. The piece may be changed or moved from.
  // Error: the file can't be read again, or holds less than the first time.
  std::function<std::optional<Error>(const std::function<bool(std::size_t, Recording&)>& hear)> read;
  [[nodiscard]] std::size_t first_sample(std::size_t piece) const { return piece * samples / pieces; }
};

// What load_sound() gives: samples, or of a long recording the way to its pieces and no samples.
struct LoadedSound {
  Recording recording;
  std::shared_ptr<const LongRecording> pieces;
  [[nodiscard]] Seconds duration() const {
    return pieces ? Seconds(static_cast<double>(pieces->samples) / recording.sample_rate)
                  : recording.duration();
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

// The same, but what is longer than `longest` (at most four hours) is not held: its pieces, of `piece` or a
// little less, are decoded anew each time they are read. `name`: what messages and facts call the file, where
// that is not its path.
struct Holding {
  Seconds longest{120.0}, piece{43.0};
};
Result<LoadedSound> load_sound(const std::string& path, const Cut& cut = {}, const Holding& holding = {},
                               const std::string& name = "");

}  // namespace gearhark
