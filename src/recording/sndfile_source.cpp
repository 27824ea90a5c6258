#include <fmt/format.h>
#include <sndfile.h>

#include <array>
#include <filesystem>
#include <fstream>
#include <vector>

#include "magic.hpp"
#include "source.hpp"

namespace gearhark {
namespace {

struct FormatName {
  int format;
  std::string_view word;
};

constexpr std::array containers{
    FormatName{SF_FORMAT_WAV, "WAV"}, FormatName{SF_FORMAT_WAVEX, "WAV"}, FormatName{SF_FORMAT_RF64, "RF64"},
    FormatName{SF_FORMAT_W64, "W64"}, FormatName{SF_FORMAT_AIFF, "AIFF"}, FormatName{SF_FORMAT_AU, "AU"},
    FormatName{SF_FORMAT_CAF, "CAF"}, FormatName{SF_FORMAT_FLAC, "FLAC"}, FormatName{SF_FORMAT_OGG, "Ogg"},
};

struct CodecName {
  int format;
  std::string_view word;
  bool lossy, floating;
};

constexpr std::array codecs{
    CodecName{SF_FORMAT_PCM_S8, "PCM 8 bit", false, false},
    CodecName{SF_FORMAT_PCM_U8, "PCM 8 bit", false, false},
    CodecName{SF_FORMAT_PCM_16, "PCM 16 bit", false, false},
    CodecName{SF_FORMAT_PCM_24, "PCM 24 bit", false, false},
    CodecName{SF_FORMAT_PCM_32, "PCM 32 bit", false, false},
    CodecName{SF_FORMAT_FLOAT, "float 32 bit", false, true},
    CodecName{SF_FORMAT_DOUBLE, "float 64 bit", false, true},
    CodecName{SF_FORMAT_ULAW, "mu-law", true, false},
    CodecName{SF_FORMAT_ALAW, "A-law", true, false},
    CodecName{SF_FORMAT_IMA_ADPCM, "ADPCM", true, false},
    CodecName{SF_FORMAT_MS_ADPCM, "ADPCM", true, false},
    CodecName{SF_FORMAT_GSM610, "GSM 6.10", true, false},
    CodecName{SF_FORMAT_VORBIS, "Vorbis", true, false},
    CodecName{SF_FORMAT_OPUS, "Opus", true, false},
    CodecName{SF_FORMAT_ALAC_16, "ALAC", false, false},
    CodecName{SF_FORMAT_ALAC_24, "ALAC", false, false},
    CodecName{SF_FORMAT_MPEG_LAYER_II, "MPEG layer 2", true, false},
    CodecName{SF_FORMAT_MPEG_LAYER_III, "MP3", true, false},
};

template <class Table>
auto entry_of(const Table& table, int format) {
  for (const auto& entry : table)
    if (entry.format == format) return entry;
  return typename Table::value_type{};
}

// libsndfile quietly believes the smaller of header and file, so a cut-off WAV shows only here: the RIFF
// header states the size of the rest of the file. 0 and 2^32 - 1 stand for "not known" in streams and RF64.
bool riff_is_cut_off(const std::string& path) {
  std::array<unsigned char, 8> head{};
  std::ifstream file(path, std::ios::binary);
  if (!file.read(reinterpret_cast<char*>(head.data()), head.size())) return false;
  if (std::string_view(reinterpret_cast<char*>(head.data()), 4) != "RIFF") return false;
  const std::uint32_t stated =
      static_cast<std::uint32_t>(head[4]) | static_cast<std::uint32_t>(head[5]) << 8 |
      static_cast<std::uint32_t>(head[6]) << 16 | static_cast<std::uint32_t>(head[7]) << 24;
  if (stated == 0 || stated == 0xFFFFFFFFu) return false;
  std::error_code error;
  const auto size = std::filesystem::file_size(path, error);
  return !error && size + 1 < static_cast<std::uintmax_t>(stated) + 8;
}

class SndfileSource : public Source {
 public:
  SndfileSource(SNDFILE* file, const SF_INFO& info, const std::string& path) : file_(file) {
    const auto codec = entry_of(codecs, info.format & SF_FORMAT_SUBMASK);
    const auto container = entry_of(containers, info.format & SF_FORMAT_TYPEMASK);
    facts_.container = container.word.empty() ? "sound file" : std::string(container.word);
    facts_.codec = codec.word.empty() ? "unnamed coding" : std::string(codec.word);
    facts_.floating = codec.floating;
    facts_.channels = info.channels;
    facts_.sample_rate = info.samplerate;
    if (info.frames > 0 && info.frames < SF_COUNT_MAX)
      facts_.stated_frames = static_cast<double>(info.frames);
    std::error_code error;
    const auto bytes = std::filesystem::file_size(path, error);
    if (codec.lossy && !error && facts_.stated_frames > 0 && info.samplerate > 0)
      facts_.bit_rate = 8.0 * static_cast<double>(bytes) * info.samplerate / facts_.stated_frames;
    if (riff_is_cut_off(path)) damage_ = "the file is shorter than its header says: it was cut off";
    block_.resize(frames_at_once * static_cast<std::size_t>(info.channels));
  }
  ~SndfileSource() override { sf_close(file_); }

  std::span<const float> next() override {
    const auto frames = sf_readf_float(file_, block_.data(), frames_at_once);
    if (frames <= 0 && sf_error(file_) != SF_ERR_NO_ERROR && damage_.empty())
      damage_ = fmt::format("decoding stopped early ({})", sf_strerror(file_));
    return std::span(block_).first(frames > 0 ? static_cast<std::size_t>(frames * facts_.channels) : 0);
  }

 private:
  static constexpr sf_count_t frames_at_once = 4096;
  SNDFILE* file_;
  std::vector<float> block_;
};

}  // namespace

std::unique_ptr<Source> open_with_sndfile(const std::string& path) {
  if (magic_of(path) != Magic::for_sndfile) return nullptr;
  SF_INFO info{};
  SNDFILE* file = sf_open(path.c_str(), SFM_READ, &info);
  if (!file) return nullptr;
  if (info.channels <= 0 || info.channels > 1024) {
    sf_close(file);
    return nullptr;
  }
  return std::make_unique<SndfileSource>(file, info, path);
}

}  // namespace gearhark
