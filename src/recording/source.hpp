// One opened file that yields all its channels; behind it libsndfile or FFmpeg.
#pragma once

#include <memory>
#include <span>
#include <string>

#include "gearhark/units/result.hpp"

namespace gearhark {

// Of one recording, all at once: 1 GB, an hour and a half at 48 kHz.
inline constexpr std::size_t most_samples_kept = std::size_t{1} << 28;

struct SourceFacts {
  std::string container, codec;
  int channels = 0;
  double sample_rate = 0.0;    // Hz
  double bit_rate = 0.0;       // bits per second; 0: lossless or not known
  double stated_frames = 0.0;  // as the file claims, never trusted; 0: not stated
  bool floating = false;       // samples are stored as floating point, so they can be anything
};

class Source {
 public:
  virtual ~Source() = default;
  // Interleaved samples, valid until the next call. Empty: the end.
  virtual std::span<const float> next() = 0;
  [[nodiscard]] const SourceFacts& facts() const { return facts_; }
  [[nodiscard]] const std::string& damage() const { return damage_; }

 protected:
  SourceFacts facts_;
  std::string damage_;
};

// Null where libsndfile does not know the format: FFmpeg may.
std::unique_ptr<Source> open_with_sndfile(const std::string& path);
// `shown`: what messages call it.
Result<std::unique_ptr<Source>> open_with_ffmpeg(const std::string& path, const std::string& shown);

}  // namespace gearhark
