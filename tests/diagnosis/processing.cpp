// What a phone may do to the sound, done here in plain words, is found again, and nothing is found in sound
// as it was.
#include "gearhark/recording/processing.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <numbers>

#include "../folder.hpp"
#include "../heron.hpp"
#include "gearhark/signal/fft.hpp"
#include "gearhark/synthesis/synthesis.hpp"

using namespace gearhark;

namespace {

enum class Driven { steady, faster };

constexpr double slow = 10.0, fast = 24.0, seconds = 24.0;

Recording drive(unsigned seed, Driven how) {
  static const Car car = test::heron();
  SoundSettings settings;
  settings.run.duration = Seconds(seconds);
  settings.run.speed = Speed(how == Driven::steady ? 18.0 : slow);
  if (how == Driven::faster) {
    settings.run.course = Course::sweep;
    settings.run.end_speed = Speed(fast);
  }
  settings.car_seed = settings.run_seed = seed;
  auto sound = synthesise(car, settings);
  REQUIRE(sound);
  return {{}, sound->sample_rate, std::move(sound->samples)};
}

const std::vector<SpeedAt> faster{{Seconds(0.0), Speed(slow)}, {Seconds(seconds), Speed(fast)}};

// Weighs each bin of overlapping frames by `weight(bin, power)`.
template <class Weight>
Recording weighed(Recording in, Weight weight) {
  constexpr std::size_t length = 1024, hop = length / 2;
  const RealFft fft(length);
  std::vector<float> window(length), frame(length), out(in.samples.size(), 0.0F);
  for (std::size_t i = 0; i < length; ++i)
    window[i] = static_cast<float>(std::sin(std::numbers::pi * (static_cast<double>(i) + 0.5) / length));
  std::vector<std::complex<float>> bins(length / 2 + 1);
  for (std::size_t from = 0; from + length <= out.size(); from += hop) {
    for (std::size_t i = 0; i < length; ++i) frame[i] = in.samples[from + i] * window[i];
    fft.forward(frame, bins);
    for (std::size_t k = 0; k < bins.size(); ++k)
      bins[k] *= static_cast<float>(weight(k, std::norm(bins[k])));
    fft.inverse(bins, frame);
    for (std::size_t i = 0; i < length; ++i) out[from + i] += frame[i] * window[i];
  }
  in.samples = std::move(out);
  return in;
}

// Spectral subtraction: of each bin's power its slow mean is taken away, down to `floor` of the amplitude.
Recording subtracted(Recording in, double floor) {
  std::vector<double> steady(513, 0.0);
  return weighed(std::move(in), [steady, floor](std::size_t k, double power) mutable {
    steady[k] = steady[k] > 0.0 ? steady[k] + 0.01 * (power - steady[k]) : power;
    return std::sqrt(std::max(floor * floor, 1.0 - steady[k] / std::max(power, 1e-12)));
  });
}

// As AAC of few bits, which leaves faint bins out.
Recording starved(const Recording& in) {
  const Folder folder;
  const std::string wav = folder / "whole.wav", m4a = folder / "starved.m4a";
  REQUIRE_FALSE(write_wav(wav, {in.sample_rate, in.samples, {}, {}}));
  REQUIRE(std::system(("ffmpeg -v error -i " + wav + " -b:a 32k " + m4a).c_str()) == 0);
  const auto out = load_recording(m4a);
  REQUIRE(out);
  return *out;
}

// Turns down within 0.1 s, up within 2 s, by `share` of the level's way to -24 dB.
Recording levelled(Recording in, double share) {
  double power = 0.004;
  for (float& sample : in.samples) {
    const double now = static_cast<double>(sample) * static_cast<double>(sample);
    power += (now - power) / (in.sample_rate * (now > power ? 0.1 : 2.0));
    sample *= static_cast<float>(std::pow(0.004 / std::max(power, 1e-9), 0.5 * share));
  }
  return in;
}

}  // namespace

TEST_CASE("sound as the microphone gave it shows no sign of processing") {
  for (unsigned seed = 1; seed <= 4; ++seed) {
    const Processing steady = processing_of(drive(seed, Driven::steady));
    CHECK(steady.suppression == Sign::none);
    CHECK(steady.spread_below_db == Approx(8.0).margin(0.3));
    CHECK(steady.spread_above_db == Approx(5.2).margin(0.25));
    const Processing changing = processing_of(drive(seed, Driven::faster), faster);
    CHECK(changing.suppression == Sign::none);
    CHECK(changing.gain_control == Sign::none);
    CHECK(problems_of(changing).empty());
  }
}

TEST_CASE("what subtracts the steady part of a sound is found, and costs evidence") {
  for (unsigned seed = 1; seed <= 3; ++seed) {
    const Recording sound = drive(seed, Driven::steady);
    const Processing mild = processing_of(subtracted(sound, 0.3)),
                     strong = processing_of(subtracted(sound, 0.05));
    CHECK(mild.suppression == Sign::likely);
    CHECK(strong.suppression == Sign::likely);
    CHECK(mild.suppression_cost_db > 0.5);
    CHECK(strong.suppression_cost_db > mild.suppression_cost_db);
    REQUIRE(problems_of(strong).size() == 1);
    CHECK(problems_of(strong)[0].what == "noise suppression");
  }
}

TEST_CASE("the holes of a codec are not taken for noise suppression") {
  for (unsigned seed = 1; seed <= 3; ++seed) {
    const Processing holes = processing_of(starved(drive(seed, Driven::steady)));
    CHECK(holes.spread_below_db > 8.5);
    CHECK(holes.suppression != Sign::likely);
  }
}

TEST_CASE("a gain control is found where the speed changes, with what it took back") {
  for (unsigned seed = 1; seed <= 3; ++seed) {
    const Recording sound = drive(seed, Driven::faster);
    const auto plain = processing_of(sound, faster), half = processing_of(levelled(sound, 0.6), faster),
               all = processing_of(levelled(sound, 0.9), faster);
    CHECK(plain.gain_control == Sign::none);
    CHECK(half.gain_control == Sign::likely);
    CHECK(all.gain_control == Sign::likely);
    // The gain follows all of the sound, of which what is looked at is the part that rises most.
    CHECK(*plain.rise > 2.6);
    CHECK(*half.rise < *plain.rise - 0.8);
    CHECK(*all.rise < *half.rise - 0.4);
    CHECK(all.gain_cost_db > half.gain_cost_db);
    CHECK(half.suppression == Sign::none);
  }
}

TEST_CASE("what can't be told of the phone is said so") {
  const Recording sound = drive(1, Driven::steady);
  CHECK(processing_of(sound).gain_control == Sign::cannot_tell);
  CHECK(processing_of(sound).gain_reason == "the speed is not known");
  const std::vector<SpeedAt> same{{Seconds(0.0), Speed(18.0)}, {Seconds(seconds), Speed(19.0)}};
  CHECK(processing_of(sound, same).gain_reason == "the speed hardly changes");
  Recording brief = sound;
  brief.samples.resize(5 * 48000);
  CHECK(processing_of(brief).suppression == Sign::cannot_tell);
  brief.samples.assign(100, 0.0F);
  CHECK(processing_of(brief).suppression == Sign::cannot_tell);
  brief.samples.assign(480000, 0.0F);
  CHECK(processing_of(brief).suppression == Sign::cannot_tell);
}

TEST_CASE("level alone changes nothing that is said of the phone") {
  const Recording sound = drive(2, Driven::faster);
  Recording quiet = sound;
  for (float& sample : quiet.samples) sample *= 0.05F;
  const Processing loud = processing_of(sound, faster), faint = processing_of(quiet, faster);
  CHECK(loud.spread_above_db == Approx(faint.spread_above_db).margin(0.01));
  CHECK(*loud.rise == Approx(*faint.rise).margin(0.01));
}
