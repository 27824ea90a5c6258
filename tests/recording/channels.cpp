// Which of several channels is heard.
#include "sound_files.hpp"

using namespace gearhark;
using namespace sound_files;

namespace {

constexpr double rate = 16000.0;

std::vector<float> interleaved(const std::vector<std::vector<float>>& channels) {
  std::vector<float> out;
  for (std::size_t i = 0; i < channels[0].size(); ++i)
    for (const auto& channel : channels) out.push_back(channel[i]);
  return out;
}

std::vector<float> sum(std::vector<float> a, const std::vector<float>& b) {
  for (std::size_t i = 0; i < a.size(); ++i) a[i] += b[i];
  return a;
}

Recording load(const std::vector<std::vector<float>>& channels) {
  const TempFolder folder;
  write(folder / "c.wav",
        wav_of(interleaved(channels),
               {.rate = 16000, .channels = static_cast<unsigned>(channels.size()), .floating = true}));
  auto r = load_recording(folder / "c.wav");
  REQUIRE(r);
  CHECK(r->facts.channels == static_cast<int>(channels.size()));
  return *std::move(r);
}

}  // namespace

TEST_CASE("two microphones that hear the same car are averaged, and their own noises with them") {
  const auto car = noise(0.1, 2.0, rate, 1);
  const auto left = sum(car, noise(0.03, 2.0, rate, 2)), right = sum(car, noise(0.03, 2.0, rate, 3));
  const Recording r = load({left, right});
  CHECK_THAT(r.facts.note, Catch::Contains("mean"));
  for (std::size_t i = 0; i < 100; ++i)
    CHECK(r.samples[i] == Approx(0.5F * (left[i] + right[i])).margin(1e-6));
}

TEST_CASE("the better of two channels is heard") {
  const auto car = noise(0.1, 2.0, rate, 1);
  auto clipped = car;
  for (float& x : clipped) x = std::clamp(20.0F * x, -1.0F, 1.0F);
  auto gusty = sum(car, tone(30.0, 0.5, 2.0, rate));
  auto opposite = car;
  for (float& x : opposite) x *= -0.5F;
  struct Pair {
    std::vector<float> left, right;
    std::string used, why;
    std::vector<float> heard;
  };
  for (const auto& [left, right, used, why, heard] :
       {Pair{std::vector<float>(car.size()), car, "right", "silent", car},
        Pair{car, std::vector<float>(car.size()), "left", "silent", car},
        Pair{clipped, car, "right", "clips", car}, Pair{car, gusty, "left", "wind", car},
        Pair{car, car, "left", "same sound", car}, Pair{opposite, car, "right", "louder", car}}) {
    INFO(used << ", " << why);
    const Recording r = load({left, right});
    CHECK_THAT(r.facts.note, Catch::Contains(used) && Catch::Contains(why));
    CHECK(r.samples == heard);
  }
}

TEST_CASE("of 32 channels the one that hears something is used") {
  std::vector<std::vector<float>> channels(32, std::vector<float>(32000));
  channels[20] = noise(0.1, 2.0, rate);
  const Recording r = load(channels);
  CHECK(r.samples == channels[20]);
  CHECK_THAT(r.facts.note, Catch::Contains("32 channels: number 21"));
}
