// What a file's first bytes say it is.
#pragma once

#include <string>

namespace gearhark {

// `for_sndfile`: WAV, RF64, W64, AIFF, AU, CAF, FLAC or Ogg. MP3 is left to FFmpeg: libsndfile's MP3 library
// prints warnings to the user's terminal.
enum class Magic { for_sndfile, mp4, other };

Magic magic_of(const std::string& path);

}  // namespace gearhark
