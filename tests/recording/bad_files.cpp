// Files that cannot be used: one sentence that names the file and the cure. Files that can in part: a note.
#include <limits>

#include "gearhark/recording/quality.hpp"
#include "sound_files.hpp"

using namespace gearhark;
using namespace sound_files;

namespace {

std::string refusal(const std::string& path) {
  const auto r = load_recording(path);
  REQUIRE_FALSE(r);
  CHECK(r.error().kind == ErrorKind::input);
  CHECK_THAT(r.error().sentence, Catch::Contains("\"" + path + "\"") && Catch::EndsWith("."));
  CHECK(r.error().sentence.find('\n') == std::string::npos);
  return r.error().sentence;
}

std::string without_last(const std::string& bytes, double share) {
  return bytes.substr(0, static_cast<std::size_t>((1.0 - share) * static_cast<double>(bytes.size())));
}

}  // namespace

TEST_CASE("what is not a readable file is refused with its cure") {
  const TempFolder folder;
  CHECK_THAT(refusal(folder / "gone.m4a"), Catch::Contains("does not exist; check"));
  std::filesystem::create_directory(folder / "runs");
  CHECK_THAT(refusal(folder / "runs"), Catch::Contains("is a folder; name one recording"));
  write(folder / "empty.m4a", "");
  CHECK_THAT(refusal(folder / "empty.m4a"), Catch::Contains("is empty; copy it"));
  CHECK_THAT(refusal("/dev/zero"), Catch::Contains("is not a file"));
}

TEST_CASE("what is not sound is refused, whatever its name says") {
  const TempFolder folder;
  write(folder / "letter.wav", "Dear customer, the noise is still there.\n");
  CHECK_THAT(refusal(folder / "letter.wav"), Catch::Contains("is not a sound file"));
  std::string random;
  std::mt19937 numbers(1);
  for (int i = 0; i < 100'000; ++i) random += static_cast<char>(numbers());
  write(folder / "random.m4a", random);
  CHECK_THAT(refusal(folder / "random.m4a"), Catch::Contains("not a sound file"));
  write(folder / "list.m3u8", "#EXTM3U\n#EXTINF:1,\nfile:///etc/hostname\n");
  CHECK_THAT(refusal(folder / "list.m3u8"), Catch::Contains("is not a sound file"));
  ffmpeg("-f lavfi -i testsrc=size=64x64:rate=10:duration=1 -c:v mpeg4 " + (folder / "mute.mp4"));
  CHECK_THAT(refusal(folder / "mute.mp4"),
             Catch::Contains("video without sound; record with the microphone"));
}

TEST_CASE("of a file that was cut off what is left is used, and the note says so") {
  const TempFolder folder;
  write(folder / "s.wav", wav_of(noise(0.1, 6.0, 48000)));
  for (const char* file : {"t.wav", "t.flac", "t.mp3", "t.m4a", "t.webm"}) {
    INFO(file);
    ffmpeg("-i " + (folder / "s.wav") + " -movflags +faststart " + (folder / file));
    write(folder / file, without_last(read(folder / file), 0.5));
    const auto r = load_recording(folder / file);
    REQUIRE(r);
    CHECK(r->duration().value() > 2.0);
    CHECK(r->duration().value() < 4.0);
    CHECK_THAT(r->facts.note, Catch::Contains("cut off"));
  }
}

TEST_CASE("a small file that decodes to hours of silence is refused, and a part of it can be used") {
  const TempFolder folder;
  ffmpeg("-f lavfi -i anullsrc=r=8000:cl=mono -t 15000 -compression_level 0 " + (folder / "silence.flac"));
  REQUIRE(std::filesystem::file_size(folder / "silence.flac") < 10'000'000);
  CHECK_THAT(refusal(folder / "silence.flac"),
             Catch::Contains("is longer than 4.0 hours") && Catch::Contains("with from and to"));
  const auto part = load_recording(folder / "silence.flac", {Seconds(14000.0), Seconds(14002.0)});
  REQUIRE(part);
  CHECK(part->duration().value() == Approx(2.0));
}

TEST_CASE("a length that a file states without having it costs no memory") {
  const TempFolder folder;
  std::string bytes = wav_of(noise(0.1, 2.0, 48000));
  bytes.replace(4, 4, "\xf0\xff\xff\xff");
  bytes.replace(bytes.find("data") + 4, 4, "\xd0\xff\xff\xff");
  write(folder / "huge.wav", bytes);
  const auto r = load_recording(folder / "huge.wav");
  REQUIRE(r);
  CHECK(r->duration().value() == Approx(2.0).margin(0.01));
  CHECK(r->samples.capacity() <= std::size_t{1} << 24);
}

TEST_CASE("a file cut off before anything useful is refused") {
  const TempFolder folder;
  write(folder / "s.wav", wav_of(noise(0.1, 6.0, 48000)));
  ffmpeg("-i " + (folder / "s.wav") + " " + (folder / "t.m4a"));
  write(folder / "t.m4a", without_last(read(folder / "t.m4a"), 0.2));
  CHECK_THAT(refusal(folder / "t.m4a"), Catch::Contains("cut off before its index was written"));
  write(folder / "u.wav", without_last(read(folder / "s.wav"), 0.9));
  CHECK_THAT(refusal(folder / "u.wav"), Catch::Contains("cut off") && Catch::Contains("0.6 s"));
  write(folder / "header.wav", wav_bytes({}, ""));
  CHECK_THAT(refusal(folder / "header.wav"), Catch::Contains("copy it from the phone again"));
}

TEST_CASE("samples that are not numbers: a few are silenced, many refuse the file") {
  const TempFolder folder;
  auto x = noise(0.1, 2.0, 48000);
  x[1000] = std::numeric_limits<float>::quiet_NaN();
  x[2000] = std::numeric_limits<float>::infinity();
  write(folder / "few.wav", wav_of(x, {.floating = true}));
  const auto few = load_recording(folder / "few.wav");
  REQUIRE(few);
  CHECK(few->samples[1000] == 0.0F);
  CHECK(few->samples[2000] == 0.0F);
  CHECK(few->samples[1001] == x[1001]);
  CHECK_THAT(few->facts.note, Catch::Contains("not numbers"));
  for (std::size_t i = 0; i < x.size(); i += 2) x[i] = std::numeric_limits<float>::quiet_NaN();
  write(folder / "many.wav", wav_of(x, {.floating = true}));
  CHECK_THAT(refusal(folder / "many.wav"), Catch::Contains("50 % samples that are not numbers"));
}

TEST_CASE("float samples in another unit are brought to full scale") {
  const TempFolder folder;
  auto x = noise(3000.0, 2.0, 48000);
  x[5] = -32768.0F;
  write(folder / "volts.wav", wav_of(x, {.floating = true}));
  const auto r = load_recording(folder / "volts.wav");
  REQUIRE(r);
  CHECK(r->samples[5] == Approx(-1.0F));
  CHECK_THAT(r->facts.note, Catch::Contains("scaled down"));
}

TEST_CASE("rates and channels that no recording has are refused") {
  const TempFolder folder;
  const auto x = noise(0.1, 2.0, 48000);
  write(folder / "slow.wav", wav_of(x, {.rate = 12}));
  CHECK_THAT(refusal(folder / "slow.wav"), Catch::Contains("12 samples a second"));
  write(folder / "fast.wav", wav_of(x, {.rate = 20'000'000}));
  CHECK_THAT(refusal(folder / "fast.wav"), Catch::Contains("samples a second"));
  write(folder / "many.wav", wav_of(x, {.channels = 40}));
  CHECK_THAT(refusal(folder / "many.wav"), Catch::Contains("40 channels"));
}

// The header claims 4 GB. The address space left would not hold them, so believing it would end the program.
TEST_CASE("a stated length is not believed") {
  const TempFolder folder;
  std::string bytes = wav_of(noise(0.1, 2.0, 48000));
  bytes.replace(4, 4, "\xF0\xFF\xFF\xFF").replace(40, 4, "\xC0\xFF\xFF\xFF");
  write(folder / "huge.wav", bytes);
  const auto r = load_recording(folder / "huge.wav");
  REQUIRE(r);
  CHECK(r->samples.size() == 96000);
  CHECK(r->samples.capacity() < 200'000);
  CHECK_THAT(r->facts.note, Catch::Contains("cut off"));
}

// FFmpeg reads damaged files without a crash; what must not happen is a hang, a throw or a wild sample.
TEST_CASE("flipped bytes give an error or finite samples") {
  const TempFolder folder;
  write(folder / "s.wav", wav_of(noise(0.1, 2.0, 48000)));
  for (const char* file : {"t.wav", "t.flac", "t.mp3", "t.ogg", "t.opus", "t.m4a", "t.webm"}) {
    ffmpeg("-i " + (folder / "s.wav") + " " + (folder / file));
    const std::string good = read(folder / file);
    for (unsigned which = 0; which < 12; ++which) {
      std::mt19937 numbers(which);
      std::string bad = good;
      for (int flips = 0; flips < 20; ++flips)
        bad[numbers() % (which < 6 ? std::min<std::size_t>(bad.size(), 600) : bad.size())] =
            static_cast<char>(numbers());
      INFO(file << ", " << which);
      write(folder / "bad", bad);
      const auto r = load_recording(folder / "bad");
      if (r)
        CHECK(std::all_of(r->samples.begin(), r->samples.end(), [](float x) { return std::isfinite(x); }));
      if (!r) CHECK_THAT(r.error().sentence, Catch::Contains("bad"));
    }
  }
}

// Root may read everything, so the test drops to another user for the moment of the attempt.
TEST_CASE("a file without permission is refused") {
  const TempFolder folder;
  write(folder / "secret.wav", wav_of(noise(0.1, 1.0, 48000)));
  std::filesystem::permissions(folder / "", std::filesystem::perms::all);
  std::filesystem::permissions(folder / "secret.wav", std::filesystem::perms::none);
  const bool root = geteuid() == 0;
  if (root) REQUIRE(seteuid(65534) == 0);
  const auto r = load_recording(folder / "secret.wav");
  if (root) REQUIRE(seteuid(0) == 0);
  REQUIRE_FALSE(r);
  CHECK_THAT(r.error().sentence, Catch::Contains("allow reading it"));
}
