// What a file's first bytes say it is.
#pragma once

#include <string>

namespace gearhark {

// `for_sndfile`: WAV, RF64, W64, AIFF, AU, CAF, FLAC or Ogg Vorbis. FFmpeg gets MP3, because libsndfile's MP3
// library prints warnings to the user's terminal, and Opus, which it decodes three times as fast (measured).
enum class Magic { for_sndfile, ogg_opus, mp4, other };

Magic magic_of(const std::string& path);

}  // namespace gearhark
