// Every format that phones write: a tone goes in, and frequency, level and length come out right.
#include "gearhark/recording/recording.hpp"
#include "gearhark/recording/sound_reader.hpp"
#include "sound_files.hpp"

using namespace gearhark;
using namespace sound_files;

namespace {

constexpr double seconds = 3.0, hertz = 1000.0, amplitude = 0.5;

struct Format {
  std::string file, options, container, codec;
  double level_tolerance_db;
  double length_tolerance_s;  // a codec frame where the container does not state the exact end
  double rate = 48000.0;
};

// Lossless: 16-bit rounding. Lossy: 0.3 dB, what the encoders were seen to do to a tone; LAME writes 0.45 dB
// low.
const Format formats[] = {
    {"t.wav", "-c:a pcm_s16le", "WAV", "PCM 16 bit", 0.001, 0.0},
    {"t8.wav", "-c:a pcm_u8", "WAV", "PCM 8 bit", 0.1, 0.0},
    {"t24.wav", "-c:a pcm_s24le", "WAV", "PCM 24 bit", 0.001, 0.0},
    {"t32.wav", "-c:a pcm_s32le", "WAV", "PCM 32 bit", 0.001, 0.0},
    {"tf.wav", "-c:a pcm_f32le", "WAV", "float 32 bit", 0.001, 0.0},
    {"td.wav", "-c:a pcm_f64le", "WAV", "float 64 bit", 0.001, 0.0},
    {"t64.wav", "-c:a pcm_s16le -rf64 always", "RF64", "PCM 16 bit", 0.001, 0.0},
    {"t.aiff", "", "AIFF", "PCM 16 bit", 0.001, 0.0},
    {"t.flac", "-sample_fmt s16", "FLAC", "PCM 16 bit", 0.001, 0.0},
    {"t.mp3", "-b:a 96k", "MP3", "MP3", 0.6, 0.0},
    {"t.ogg", "-c:a libvorbis", "Ogg", "Vorbis", 0.3, 0.0},
    {"t.opus", "-c:a libopus", "Ogg", "Opus", 0.3, 0.0},
    {"t.m4a", "-c:a aac -b:a 96k", "M4A", "AAC", 0.3, 1024 / 48000.0},
    {"alac.m4a", "-c:a alac", "M4A", "ALAC", 0.001, 0.0},
    {"t44.m4a", "-c:a aac -b:a 96k -ar 44100", "M4A", "AAC", 0.3, 1024 / 44100.0, 44100.0},
    {"t.3gp", "-c:a aac -b:a 96k", "3GP", "AAC", 0.3, 1024 / 48000.0},
    {"t.mov", "-c:a aac -b:a 96k", "MOV", "AAC", 0.3, 1024 / 48000.0},
    {"t.aac", "-c:a aac -b:a 96k", "AAC stream", "AAC", 0.3, 3 * 1024 / 48000.0},
    {"t.webm", "-c:a libopus", "WebM/Matroska", "Opus", 0.3, 0.01},
    {"mp3.wav", "-c:a libmp3lame -b:a 96k", "WAV", "MP3", 0.6, 3 * 1152 / 48000.0},
};

void check_tone(const Recording& r, const Format& format) {
  CHECK(r.sample_rate == format.rate);
  CHECK(r.facts.container == format.container);
  CHECK(r.facts.codec == format.codec);
  CHECK(r.facts.note.empty());
  CHECK(std::abs(r.duration().value() - seconds) <= format.length_tolerance_s + 1e-9);
  CHECK(r.facts.duration == r.duration());
  const ToneFound found = find_tone(r, hertz, 0.5, 2.5);
  CHECK(std::abs(found.hertz - hertz) < 0.01);
  CHECK(std::abs(20.0 * std::log10(found.amplitude / amplitude)) < format.level_tolerance_db);
}

}  // namespace

TEST_CASE("a tone comes out of every format with its frequency, level and length") {
  const TempFolder folder;
  write(folder / "source.wav", wav_of(tone(hertz, amplitude, seconds, 48000), {.floating = true}));
  for (const Format& format : formats) {
    INFO(format.file);
    ffmpeg("-i " + (folder / "source.wav") + " " + format.options + " " + (folder / format.file));
    const auto r = load_recording(folder / format.file);
    REQUIRE(r);
    check_tone(*r, format);
    const bool lossy = format.level_tolerance_db > 0.1;
    CHECK((r->facts.bit_rate > 0.0) == lossy);
  }
}

TEST_CASE("the sound of a video is heard") {
  const TempFolder folder;
  write(folder / "source.wav", wav_of(tone(hertz, amplitude, seconds, 48000)));
  for (const Format& format :
       {Format{"v.mp4", "-c:v mpeg4 -c:a aac -b:a 96k", "MP4", "AAC", 0.3, 0.05},
        Format{"v.mov", "-c:v mpeg4 -c:a pcm_s16le", "MOV", "PCM 16 bit", 0.001, 0.05},
        Format{"v.mkv", "-c:v mpeg4 -c:a flac", "WebM/Matroska", "FLAC", 0.001, 0.05}}) {
    INFO(format.file);
    ffmpeg("-f lavfi -i testsrc=size=64x64:rate=10:duration=3 -i " + (folder / "source.wav") + " " +
           format.options + " " + (folder / format.file));
    const auto r = load_recording(folder / format.file);
    REQUIRE(r);
    check_tone(*r, format);
  }
}

// Fixtures, because Debian's ffmpeg cannot encode AMR: two seconds of 1 kHz at amplitude 0.5. Speech coders
// do not keep the level of a pure tone (FFmpeg's decoder gives 1.5 dB less than the codec project's own),
// hence 3 dB.
TEST_CASE("the two telephone codecs in 3GP are heard at their own rates") {
  const std::string folder = GEARHARK_SOURCE_DIR "/tests/recording/fixtures/";
  struct Telephone {
    std::string file, codec;
    double rate;
  };
  for (const auto& [file, codec, rate] : {Telephone{"amr_narrow_band.3gp", "AMR narrow band", 8000.0},
                                          Telephone{"amr_wide_band.3gp", "AMR wide band", 16000.0}}) {
    INFO(file);
    const auto r = load_recording(folder + file);
    REQUIRE(r);
    CHECK(r->facts.container == "3GP");
    CHECK(r->facts.codec == codec);
    CHECK(r->sample_rate == rate);
    CHECK(r->duration().value() == Approx(2.0).margin(0.03));
    const ToneFound found = find_tone(*r, 1000.0, 0.5, 1.0);
    CHECK(found.hertz == Approx(1000.0).margin(1.0));
    CHECK(std::abs(20.0 * std::log10(found.amplitude / 0.5)) < 3.0);
  }
}

// The encoder's delay (1024 to 2112 samples of AAC, facts of common practice) would shift everything by up to
// 48 ms.
TEST_CASE("the encoder's delay is taken off: a click stays where it was") {
  const TempFolder folder;
  std::vector<float> x = noise(0.001, 2.0, 48000);
  for (std::size_t i = 48000; i < 48010; ++i) x[i] = 0.9F;
  write(folder / "click.wav", wav_of(x));
  for (const char* file : {"c.m4a", "c.mp3", "c.opus", "c.ogg", "c.webm"}) {
    INFO(file);
    ffmpeg("-i " + (folder / "click.wav") + " " + (folder / file));
    const auto r = load_recording(folder / file);
    REQUIRE(r);
    const auto loudest = std::max_element(r->samples.begin(), r->samples.end(),
                                          [](float a, float b) { return std::abs(a) < std::abs(b); });
    CHECK(std::abs((loudest - r->samples.begin()) - 48005) < 48);  // 1 ms
  }
}

TEST_CASE("a part of a file is the same samples as that part of the whole") {
  const TempFolder folder;
  write(folder / "n.wav", wav_of(noise(0.1, 3.0, 48000)));
  const auto whole = load_recording(folder / "n.wav");
  const auto part = load_recording(folder / "n.wav", {Seconds(0.5), Seconds(1.25)});
  const auto tail = load_recording(folder / "n.wav", {Seconds(2.5), {}});
  REQUIRE((whole && part && tail));
  CHECK(part->samples == std::vector<float>(whole->samples.begin() + 24000, whole->samples.begin() + 60000));
  CHECK(tail->samples == std::vector<float>(whole->samples.begin() + 120000, whole->samples.end()));
  CHECK(part->facts.duration.value() == Approx(3.0));
  for (const auto& [cut, words] : {std::pair{Cut{Seconds(3.5), {}}, "the recording ends at 3.0 s"},
                                   std::pair{Cut{Seconds(2.0), Seconds(1.0)}, "not after its start"},
                                   std::pair{Cut{Seconds(-1.0), {}}, "give 0 or more"}}) {
    const auto wrong = load_recording(folder / "n.wav", cut);
    REQUIRE_FALSE(wrong);
    CHECK_THAT(wrong.error().sentence, Catch::Contains(words));
  }
}

TEST_CASE("blocks are small however long the file, and add up to the whole") {
  const TempFolder folder;
  write(folder / "n.wav", wav_of(noise(0.1, 3.0, 48000)));
  auto reader = SoundReader::open(folder / "n.wav");
  REQUIRE(reader);
  const auto whole = load_recording(folder / "n.wav");
  std::vector<float> all;
  for (auto block = reader->next(); !block.empty(); block = reader->next()) {
    CHECK(block.size() <= 8192);
    all.insert(all.end(), block.begin(), block.end());
  }
  CHECK(all == whole->samples);
  CHECK(reader->damage().empty());
}
