#include <fmt/format.h>

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/log.h>
}

#include <algorithm>
#include <array>
#include <cstdint>
#include <type_traits>
#include <vector>

#include "magic.hpp"
#include "source.hpp"

namespace gearhark {
namespace {

// Containers that phones, recorders and editors write. Others (playlists, network descriptions) could make
// FFmpeg open further files or addresses, so they are not even tried.
constexpr const char* allowed_containers =
    "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,ogg,mp3,aac,amr,amrnb,amrwb,wav,w64,flac,aiff,caf,au,avi,asf,flv,"
    "mpegts,mpeg,ac3,eac3,wv,ape,tta,loas,latm";

struct ContainerName {
  std::string_view format;  // FFmpeg's name of the demuxer
  std::string_view brand;   // beginning of the MP4 family's brand
  std::string_view word;
};

constexpr std::array container_names{
    ContainerName{"mov,mp4", "M4A", "M4A"}, ContainerName{"mov,mp4", "M4B", "M4A"},
    ContainerName{"mov,mp4", "3g", "3GP"},  ContainerName{"mov,mp4", "qt", "MOV"},
    ContainerName{"mov,mp4", "", "MP4"},    ContainerName{"matroska,webm", "", "WebM/Matroska"},
    ContainerName{"ogg", "", "Ogg"},        ContainerName{"mp3", "", "MP3"},
    ContainerName{"aac", "", "AAC stream"}, ContainerName{"amr", "", "AMR"},
    ContainerName{"wav", "", "WAV"},        ContainerName{"flac", "", "FLAC"},
    ContainerName{"aiff", "", "AIFF"},      ContainerName{"caf", "", "CAF"},
    ContainerName{"avi", "", "AVI"},        ContainerName{"asf", "", "WMA/ASF"},
    ContainerName{"mpegts", "", "MPEG-TS"}, ContainerName{"mpeg", "", "MPEG-PS"},
};

struct CodecName {
  AVCodecID id;
  std::string_view word;
  bool lossy;
};

constexpr std::array codec_names{
    CodecName{AV_CODEC_ID_AAC, "AAC", true},
    CodecName{AV_CODEC_ID_ALAC, "ALAC", false},
    CodecName{AV_CODEC_ID_AMR_NB, "AMR narrow band", true},
    CodecName{AV_CODEC_ID_AMR_WB, "AMR wide band", true},
    CodecName{AV_CODEC_ID_OPUS, "Opus", true},
    CodecName{AV_CODEC_ID_VORBIS, "Vorbis", true},
    CodecName{AV_CODEC_ID_MP3, "MP3", true},
    CodecName{AV_CODEC_ID_FLAC, "FLAC", false},
    CodecName{AV_CODEC_ID_PCM_S16LE, "PCM 16 bit", false},
    CodecName{AV_CODEC_ID_PCM_S16BE, "PCM 16 bit", false},
    CodecName{AV_CODEC_ID_PCM_S24LE, "PCM 24 bit", false},
    CodecName{AV_CODEC_ID_PCM_F32LE, "float 32 bit", false},
};

std::string container_word(const AVFormatContext& format) {
  const AVDictionaryEntry* entry = av_dict_get(format.metadata, "major_brand", nullptr, 0);
  const std::string_view brand = entry ? entry->value : "", name = format.iformat->name;
  for (const auto& row : container_names)
    if (name.starts_with(row.format) && brand.starts_with(row.brand)) return std::string(row.word);
  return format.iformat->name;
}

std::string codec_word(const AVCodecContext& codec) {
  std::string word = avcodec_get_name(codec.codec_id);
  for (const auto& row : codec_names)
    if (row.id == codec.codec_id) word = row.word;
  if (codec.codec_id == AV_CODEC_ID_AAC &&
      (codec.profile == FF_PROFILE_AAC_HE || codec.profile == FF_PROFILE_AAC_HE_V2))
    word += " (HE)";
  return word;
}

bool is_lossy(AVCodecID id) {
  for (const auto& row : codec_names)
    if (row.id == id) return row.lossy;
  return true;
}

template <class T>
void append_samples(const AVFrame& frame, double scale, double offset, std::vector<float>& out) {
  const auto channels = static_cast<std::size_t>(frame.ch_layout.nb_channels);
  const auto frames = static_cast<std::size_t>(frame.nb_samples);
  const bool planar = av_sample_fmt_is_planar(static_cast<AVSampleFormat>(frame.format)) != 0;
  out.resize(frames * channels);
  for (std::size_t c = 0; c < channels; ++c) {
    const T* from = reinterpret_cast<const T*>(frame.extended_data[planar ? c : 0]) + (planar ? 0 : c);
    const std::size_t step = planar ? 1 : channels;
    if constexpr (std::is_same_v<T, float>) {
      for (std::size_t i = 0; i < frames; ++i) out[i * channels + c] = from[i * step];
      continue;
    }
    for (std::size_t i = 0; i < frames; ++i)
      out[i * channels + c] = static_cast<float>((static_cast<double>(from[i * step]) - offset) * scale);
  }
}

// Interleaved, full scale +-1. False: a sample format that no decoder used here delivers.
bool to_floats(const AVFrame& frame, std::vector<float>& out) {
  switch (av_get_packed_sample_fmt(static_cast<AVSampleFormat>(frame.format))) {
    case AV_SAMPLE_FMT_U8:
      return append_samples<std::uint8_t>(frame, 1.0 / 128, 128.0, out), true;
    case AV_SAMPLE_FMT_S16:
      return append_samples<std::int16_t>(frame, 1.0 / 32768, 0.0, out), true;
    case AV_SAMPLE_FMT_S32:
      return append_samples<std::int32_t>(frame, 1.0 / 2147483648.0, 0.0, out), true;
    case AV_SAMPLE_FMT_FLT:
      return append_samples<float>(frame, 1.0, 0.0, out), true;
    case AV_SAMPLE_FMT_DBL:
      return append_samples<double>(frame, 1.0, 0.0, out), true;
    default:
      return false;
  }
}

class FfmpegSource : public Source {
 public:
  FfmpegSource() = default;
  FfmpegSource(const FfmpegSource&) = delete;
  FfmpegSource& operator=(const FfmpegSource&) = delete;
  ~FfmpegSource() override {
    av_frame_free(&frame_);
    av_packet_free(&packet_);
    avcodec_free_context(&codec_);
    avformat_close_input(&format_);
  }

  // The error's sentence without the file's name, or "" for success.
  std::string open(const std::string& path) {
    if (std::string wrong = open_container(path); !wrong.empty()) return wrong;
    if (std::string wrong = open_codec(); !wrong.empty()) return wrong;
    // What the container says of rate and channels can be wrong (AAC with spectral band replication doubles
    // the rate), so the first decoded frame decides.
    if (!decode_frame())
      return "names a sound track but nothing in it can be decoded; record or convert it again";
    first_is_waiting_ = true;
    note_facts();
    return "";
  }

  std::span<const float> next() override {
    if (!first_is_waiting_ && !decode_frame()) return {};
    first_is_waiting_ = false;
    return block_;
  }

 private:
  static constexpr int fruitless_packets_allowed = 100'000;

  std::string open_container(const std::string& path) {
    format_ = avformat_alloc_context();
    format_->format_whitelist = av_strdup(allowed_containers);
    format_->protocol_whitelist = av_strdup("file");
    const int opened = avformat_open_input(&format_, ("file:" + path).c_str(), nullptr, nullptr);
    if (opened < 0) return why_not_opened(path);
    if (avformat_find_stream_info(format_, nullptr) < 0)
      return "begins like a sound file but holds nothing that can be read; copy it from the phone again";
    return "";
  }

  static std::string why_not_opened(const std::string& path) {
    const Magic magic = magic_of(path);
    if (magic == Magic::mp4)
      return "was cut off before its index was written (an M4A, MP4 or 3GP file without its 'moov' part), so "
             "nothing in it can be read; copy it from the phone again, or record again and stop the "
             "recording "
             "before closing the app";
    if (magic == Magic::for_sndfile || magic == Magic::ogg_opus)
      return "begins like a sound file, but what follows is cut off or damaged; copy it from the phone again";
    return "is not a sound file that can be read here; give a WAV, FLAC, MP3, Ogg, Opus, M4A, 3GP, WebM, MP4 "
           "or "
           "MOV recording";
  }

  std::string open_codec() {
    const AVCodec* decoder = nullptr;
    stream_ = av_find_best_stream(format_, AVMEDIA_TYPE_AUDIO, -1, -1, &decoder, 0);
    if (stream_ == AVERROR_DECODER_NOT_FOUND)
      return "holds sound in a coding that cannot be decoded here; convert it to WAV or M4A first";
    if (stream_ < 0 && av_find_best_stream(format_, AVMEDIA_TYPE_VIDEO, -1, -1, nullptr, 0) >= 0)
      return "is a video without sound; record with the microphone switched on";
    if (stream_ < 0) return "holds no sound; give a recording";
    for (unsigned i = 0; i < format_->nb_streams; ++i)
      if (static_cast<int>(i) != stream_) format_->streams[i]->discard = AVDISCARD_ALL;
    codec_ = avcodec_alloc_context3(decoder);
    avcodec_parameters_to_context(codec_, stream()->codecpar);
    codec_->pkt_timebase = stream()->time_base;
    if (avcodec_open2(codec_, decoder, nullptr) < 0)
      return "holds sound whose header is damaged; copy it from the phone again";
    frame_ = av_frame_alloc();
    packet_ = av_packet_alloc();
    return "";
  }

  [[nodiscard]] AVStream* stream() const { return format_->streams[stream_]; }

  void note_facts() {
    facts_.container = container_word(*format_);
    facts_.codec = codec_word(*codec_);
    facts_.channels = channels_;
    facts_.sample_rate = rate_;
    facts_.floating = codec_->codec_id >= AV_CODEC_ID_PCM_F32BE && codec_->codec_id <= AV_CODEC_ID_PCM_F64LE;
    const bool alone = format_->nb_streams == 1;
    if (is_lossy(codec_->codec_id))
      facts_.bit_rate = static_cast<double>(stream()->codecpar->bit_rate > 0 ? stream()->codecpar->bit_rate
                                            : alone                          ? format_->bit_rate
                                                                             : 0);
    if (stream()->duration > 0)
      facts_.stated_frames = static_cast<double>(stream()->duration) * av_q2d(stream()->time_base) * rate_;
    else if (format_->duration > 0)
      facts_.stated_frames = static_cast<double>(format_->duration) / AV_TIME_BASE * rate_;
  }

  // Decodes the next frame that holds samples into block_.
  bool decode_frame() {
    for (int fruitless = 0; fruitless < fruitless_packets_allowed; ++fruitless) {
      const int got = avcodec_receive_frame(codec_, frame_);
      if (got == 0) {
        if (!take_frame()) return false;
        if (!block_.empty()) return true;
      } else if (got == AVERROR(EAGAIN)) {
        send_packet();
      } else if (got == AVERROR_EOF) {
        note_damaged_packets();
        return false;
      } else {
        ++damaged_packets_;
      }
    }
    damage_ = "decoding stopped early: the rest of the file holds no sound";
    return false;
  }

  bool take_frame() {
    const int channels = frame_->ch_layout.nb_channels;
    if (channels_ == 0) {
      channels_ = channels;
      rate_ = frame_->sample_rate;
    }
    const bool same = channels == channels_ && frame_->sample_rate == rate_;
    if (!same) damage_ = "sample rate or channels change within the file; only the part before is used";
    if (same && channels == 1 &&
        av_get_packed_sample_fmt(static_cast<AVSampleFormat>(frame_->format)) == AV_SAMPLE_FMT_FLT) {
      // As they lie, until the next frame is asked for.
      block_ = {reinterpret_cast<const float*>(frame_->extended_data[0]),
                static_cast<std::size_t>(frame_->nb_samples)};
      return true;
    }
    const bool fine = same && to_floats(*frame_, floats_);
    block_ = floats_;
    av_frame_unref(frame_);
    return fine;
  }

  void send_packet() {
    if (at_end_) {
      avcodec_send_packet(codec_, nullptr);
      return;
    }
    const int read = av_read_frame(format_, packet_);
    if (read < 0) {
      at_end_ = true;
      if (read != AVERROR_EOF) damage_ = "reading stopped early: the file is damaged";
      avcodec_send_packet(codec_, nullptr);
      return;
    }
    if (packet_->stream_index == stream_ && avcodec_send_packet(codec_, packet_) < 0) ++damaged_packets_;
    av_packet_unref(packet_);
  }

  void note_damaged_packets() {
    if (damage_.empty() && damaged_packets_ > 0)
      damage_ = fmt::format("damaged pieces of the sound left out: {}", damaged_packets_);
  }

  AVFormatContext* format_ = nullptr;
  AVCodecContext* codec_ = nullptr;
  AVFrame* frame_ = nullptr;
  AVPacket* packet_ = nullptr;
  int stream_ = -1;
  int channels_ = 0, rate_ = 0;
  long damaged_packets_ = 0;
  bool at_end_ = false, first_is_waiting_ = false;
  std::vector<float> floats_;
  std::span<const float> block_;
};

}  // namespace

Result<std::unique_ptr<Source>> open_with_ffmpeg(const std::string& path, const std::string& shown) {
  // FFmpeg would print its own remarks to the user's terminal.
  av_log_set_level(AV_LOG_QUIET);
  auto source = std::make_unique<FfmpegSource>();
  if (std::string wrong = source->open(path); !wrong.empty())
    return Error{fmt::format("\"{}\" {}.", shown, wrong)};
  return std::unique_ptr<Source>(std::move(source));
}

}  // namespace gearhark
