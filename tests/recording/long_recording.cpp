#include <catch2/catch.hpp>

#include "gearhark/recording/outline.hpp"
#include "gearhark/recording/quality.hpp"
#include "sound_files.hpp"

using namespace gearhark;
using namespace sound_files;

namespace {

constexpr Holding short_ones{Seconds(2.0), Seconds(0.7)};

std::string slow_wav(double seconds) {
  WavHeader header;
  header.rate = 16000;
  return wav_of(noise(0.1, seconds, 16000), header);
}

std::vector<float> end_to_end(const LongRecording& recording) {
  std::vector<float> all;
  std::size_t expected = 0;
  const auto error = recording.read([&](std::size_t number, Recording& piece) {
    CHECK(number == expected++);
    CHECK(all.size() == recording.first_sample(number));
    all.insert(all.end(), piece.samples.begin(), piece.samples.end());
    return true;
  });
  CHECK(!error);
  CHECK(expected == recording.pieces);
  return all;
}

}  // namespace

TEST_CASE("the pieces of a long recording are the samples of the whole, each time they are read") {
  const TempFolder folder;
  write(folder / "n.wav", slow_wav(5.3));
  const auto whole = load_recording(folder / "n.wav");
  const auto sound = load_sound(folder / "n.wav", {}, short_ones);
  REQUIRE((whole && sound));
  REQUIRE(sound->pieces);
  CHECK(sound->recording.samples.empty());
  CHECK(sound->pieces->pieces == 8);
  CHECK(sound->duration() == whole->duration());
  for (int times = 0; times < 2; ++times) CHECK(end_to_end(*sound->pieces) == whole->samples);
  CHECK(outline(*sound->pieces, 100) == outline(*whole, 100));
}

TEST_CASE("a part of a file is long or not by its own length") {
  const TempFolder folder;
  write(folder / "n.wav", slow_wav(5.3));
  const Cut most{Seconds(1.0), Seconds(4.5)}, little{Seconds(1.0), Seconds(2.5)};
  const auto whole = load_recording(folder / "n.wav", most);
  const auto sound = load_sound(folder / "n.wav", most, short_ones);
  const auto held = load_sound(folder / "n.wav", little, short_ones);
  REQUIRE((whole && sound && held));
  REQUIRE(sound->pieces);
  CHECK(end_to_end(*sound->pieces) == whole->samples);
  CHECK(!held->pieces);
  CHECK(held->recording.samples.size() == 24000);
}

TEST_CASE("a long recording that is gone or cut short when it is read again says so") {
  const TempFolder folder;
  write(folder / "n.wav", slow_wav(5.3));
  const auto sound = load_sound(folder / "n.wav", {}, short_ones);
  REQUIRE(sound);
  const auto trouble = [&] {
    const auto error = sound->pieces->read([](std::size_t, Recording&) { return true; });
    REQUIRE(error);
    return error->sentence;
  };
  write(folder / "n.wav", slow_wav(1.0));
  CHECK_THAT(trouble(), Catch::Contains("became shorter while it was read"));
  std::filesystem::remove(folder / "n.wav");
  CHECK_THAT(trouble(), Catch::Contains("does not exist"));
}

TEST_CASE("the quality of the pieces is that of the whole") {
  Recording whole;
  whole.sample_rate = 16000.0;
  whole.samples = noise(0.05, 24.0, 16000);
  for (std::size_t i = 100'000; i < 100'400; ++i) whole.samples[i] = 1.0F;
  const RecordingQuality all = assess(whole);
  QualityOfPieces pieces;
  for (std::size_t i = 0; i < 3; ++i) {
    Recording piece;
    piece.sample_rate = whole.sample_rate;
    piece.samples.assign(whole.samples.begin() + static_cast<long>(128'000 * i),
                         whole.samples.begin() + static_cast<long>(128'000 * (i + 1)));
    pieces.add(piece);
  }
  const RecordingQuality joined = pieces.whole();
  CHECK(joined.level.value() == Approx(all.level.value()).margin(0.01));
  CHECK(joined.clipped_share == Approx(all.clipped_share));
  CHECK(joined.usable.value() == Approx(all.usable.value()).margin(0.2));
  CHECK(joined.stretches.size() == all.stretches.size());
  CHECK(joined.bandwidth.value() == Approx(all.bandwidth.value()).margin(100.0));
  CHECK(joined.problems.size() == all.problems.size());
}
