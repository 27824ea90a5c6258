// A sound file as a stream of mono blocks, in bounded memory.
//
//   file -> libsndfile, or FFmpeg where that cannot -> all channels -> the better one or the mean -> blocks
//
// WAV (integer, float, RF64), AIFF, FLAC, Ogg Vorbis and Opus, MP3, M4A (AAC, ALAC), 3GP (AMR), WebM, and the
// sound of MP4, MOV and other videos. Encoder delay and edit lists are honoured as those libraries give them.
#pragma once

#include <memory>
#include <span>
#include <string>

#include "gearhark/recording/recording.hpp"

namespace gearhark {

class SoundReader {
 public:
  // Listens once through files of several channels to choose among them. Errors, one sentence each: missing,
  // a folder, not readable, empty, not sound, a video without sound, cut off before its index, a sample rate
  // or number of channels that no recording has, samples that are not numbers.
  // `name`: what messages and facts call the file, where that is not its path.
  static Result<SoundReader> open(const std::string& path, const std::string& name = "");
  // The same file from its start, heard the same way without listening through it first. Error: it is gone.
  [[nodiscard]] Result<SoundReader> again() const;
  // Lets go of the file and its tables, which may be megabytes; only again() and what it is may be asked then.
  void close();
  ~SoundReader();
  SoundReader(SoundReader&&) noexcept;
  SoundReader& operator=(SoundReader&&) noexcept;

  [[nodiscard]] const RecordingFacts& facts() const;  // duration: as the file states it, 0 where it does not
  [[nodiscard]] double sample_rate() const;           // Hz
  // The next samples, full scale +-1, valid until the next call. Empty: the end.
  std::span<const float> next();
  // What went wrong on the way ("cut off: ..."), complete once next() came back empty; "" for nothing.
  [[nodiscard]] std::string damage() const;

 private:
  struct State;
  explicit SoundReader(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace gearhark
