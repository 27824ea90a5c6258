// What is put into a recording is found with its size and place, and nothing is found in clean noise.
#include "gearhark/recording/quality.hpp"

#include "sound_files.hpp"

using namespace gearhark;
using namespace sound_files;

namespace {

constexpr double rate = 48000.0;

const Problem* problem(const RecordingQuality& q, const std::string& what) {
  for (const Problem& p : q.problems)
    if (p.what == what) return &p;
  return nullptr;
}

RecordingQuality quality_of(std::vector<float> x, double hz = rate) {
  return assess(recording_of(std::move(x), hz));
}

bool usable_at(const RecordingQuality& q, double at) {
  return std::any_of(q.stretches.begin(), q.stretches.end(),
                     [&](const Stretch& s) { return s.from.value() <= at && at <= s.to.value(); });
}

// Windowed-sinc low-pass: 255 taps fall by 40 dB within some 600 Hz of the corner at 48 kHz.
std::vector<float> low_passed(const std::vector<float>& x, double corner_hz) {
  constexpr int half = 127;
  std::vector<double> taps(2 * half + 1);
  for (int i = -half; i <= half; ++i) {
    const double t = 2.0 * corner_hz / rate, u = std::numbers::pi * i;
    taps[static_cast<std::size_t>(i + half)] =
        (i == 0 ? t : std::sin(u * t) / u) * (0.5 + 0.5 * std::cos(std::numbers::pi * i / (half + 1)));
  }
  std::vector<float> y(x.size());
  for (std::size_t n = 2 * half; n < x.size(); ++n) {
    double sum = 0.0;
    for (std::size_t i = 0; i < taps.size(); ++i) sum += taps[i] * static_cast<double>(x[n - i]);
    y[n - half] = static_cast<float>(sum);
  }
  return y;
}

template <class Gain>
std::vector<float> times(std::vector<float> x, Gain gain_at) {
  for (std::size_t i = 0; i < x.size(); ++i)
    x[i] *= static_cast<float>(gain_at(static_cast<double>(i) / rate));
  return x;
}

}  // namespace

TEST_CASE("clean noise has nothing wrong with it, at any rate") {
  for (double hz : {16000.0, 44100.0, 48000.0})
    for (unsigned which : {1u, 2u}) {
      const RecordingQuality q = quality_of(noise(0.05, 30.0, hz, which), hz);
      INFO(hz);
      for (const Problem& p : q.problems) FAIL_CHECK(p.what << ": " << p.sentence);
      CHECK(q.level.value() == Approx(20.0 * std::log10(0.05)).margin(0.05));
      CHECK(q.bandwidth.value() > 0.49 * hz);
      CHECK(q.usable.value() == Approx(30.0).margin(0.01));
      CHECK(q.stretches.size() == 1);
      CHECK(q.level_pumping_db < 1.0);
      CHECK(q.bumps_per_minute == 0.0);
      CHECK(q.dropouts == 0);
    }
}

TEST_CASE("a steady tone and a steady speed sweep are not taken for anything else") {
  std::vector<float> x = noise(0.02, 30.0, rate);
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double t = static_cast<double>(i) / rate;
    x[i] += static_cast<float>(0.1 * std::sin(2.0 * std::numbers::pi * (200.0 * t + 5.0 * t * t)));
  }
  CHECK(quality_of(x).problems.empty());
}

TEST_CASE("the share of clipped samples is found") {
  // |x| of Gaussian noise exceeds k standard deviations with probability erfc(k / sqrt 2).
  for (double k : {1.5, 2.5, 3.3}) {
    auto x = noise(1.0 / k, 20.0, rate);
    for (float& s : x) s = std::clamp(s, -1.0F, 1.0F);
    const double share = std::erfc(0.985 * k / std::numbers::sqrt2);  // what is counted lies above 0.985
    const RecordingQuality q = quality_of(x);
    CHECK(q.clipped_share == Approx(share).epsilon(0.05));
    REQUIRE(problem(q, "clipping"));
    CHECK(problem(q, "clipping")->serious == (share > 0.005));
  }
}

TEST_CASE("a clipped moment is cut out and the rest is kept") {
  auto x = noise(0.05, 20.0, rate);
  for (std::size_t i = 480'000; i < 480'200; ++i) x[i] = i % 2 ? 1.0F : -1.0F;
  const RecordingQuality q = quality_of(x);
  CHECK_FALSE(usable_at(q, 10.002));
  CHECK(usable_at(q, 5.0));
  CHECK(usable_at(q, 15.0));
  CHECK(q.clipped_share == Approx(200.0 / 960'000.0));
}

TEST_CASE("a codec's loss of everything above its edge is found") {
  for (double corner : {4000.0, 9500.0, 14000.0, 16000.0, 20000.0}) {
    const RecordingQuality q = quality_of(low_passed(noise(0.05, 16.0, rate), corner));
    CHECK(q.bandwidth.value() == Approx(corner).margin(250.0));
    CHECK((problem(q, "narrow band") != nullptr) == (corner < 6000.0));
  }
}

TEST_CASE("8 kHz sound is usable and said to be narrow") {
  const RecordingQuality q = quality_of(noise(0.05, 20.0, 8000.0), 8000.0);
  CHECK(q.bandwidth.value() == Approx(4000.0).margin(100.0));
  REQUIRE(problem(q, "narrow band"));
  CHECK(problem(q, "narrow band")->serious);
  CHECK(q.usable.value() == Approx(20.0).margin(0.02));
}

// Cut-off of FFmpeg's AAC encoder, mono: min(max(b/5, 15b/32 - 5500), 3000 + b/4, 12000 + b/16, 22000): 64
// kb/s gives 16 kHz (FFmpeg's sources). It is a lower bound: the encoder codes the whole scale-factor bands
// it reaches, and here (Debian's 5.1) SciPy's Welch spectrum too ends at 17.25 kHz = bin 736 of 1024, a
// band's edge. Likewise 9.5 kHz and 12.0 kHz = bin 512 at 32 kb/s. Opus: 20 kHz (RFC 6716, section 2.1.3).
TEST_CASE("the edge that real encoders leave is found") {
  const TempFolder folder;
  write(folder / "n.wav", wav_of(noise(0.05, 16.0, rate)));
  struct Encoder {
    std::string options, file;
    double published_hz, band_edge_hz;
  };
  for (const auto& [options, file, published, edge] :
       {Encoder{"-c:a aac -b:a 64k", "a.m4a", 16000.0, 17250.0},
        Encoder{"-c:a aac -b:a 32k", "b.m4a", 9500.0, 12000.0},
        Encoder{"-c:a libopus -b:a 64k", "c.opus", 20000.0, 20000.0}}) {
    ffmpeg("-i " + (folder / "n.wav") + " " + options + " " + (folder / file));
    const auto r = load_recording(folder / file);
    REQUIRE(r);
    const double found = assess(*r).bandwidth.value();
    INFO(options);
    CHECK(found > published - 50.0);
    CHECK(found == Approx(edge).margin(200.0));
  }
}

TEST_CASE("the depth of level pumping is found") {
  for (double swing_db : {6.0, 9.0, 15.0})
    for (double period_s : {1.5, 3.0}) {
      const auto x = times(noise(0.05, 40.0, rate), [&](double t) {
        return std::pow(10.0, 0.5 * swing_db / 20.0 * std::sin(2.0 * std::numbers::pi * t / period_s));
      });
      const RecordingQuality q = quality_of(x);
      INFO(swing_db << " dB every " << period_s << " s");
      CHECK(q.level_pumping_db == Approx(swing_db).epsilon(0.12));
      if (swing_db > 7.0) {
        REQUIRE(problem(q, "level pumping"));
        CHECK(problem(q, "level pumping")->serious == (swing_db > 13.0));
      }
    }
}

TEST_CASE("a slow change of speed and loudness is not level pumping") {
  const auto x =
      times(noise(0.02, 40.0, rate), [](double t) { return std::pow(10.0, 12.0 / 20.0 * t / 40.0); });
  CHECK(quality_of(x).level_pumping_db < 1.5);
}

TEST_CASE("gusts at low frequencies are wind, steady boom is not") {
  const auto car = noise(0.02, 40.0, rate);
  const auto low = low_passed(noise(1.0, 40.0, rate, 5), 100.0);
  auto boom = car, gusts = car;
  for (std::size_t i = 0; i < car.size(); ++i) {
    const double t = static_cast<double>(i) / rate;
    boom[i] += 0.5F * low[i];
    gusts[i] += static_cast<float>(std::fmod(t, 4.0) < 0.8 ? 1.5 : 0.02) * low[i];
  }
  CHECK_FALSE(problem(quality_of(boom), "wind"));
  const RecordingQuality q = quality_of(gusts);
  REQUIRE(problem(q, "wind"));
  CHECK(q.wind_db > 16.0);
  CHECK_FALSE(problem(q, "level pumping"));
}

TEST_CASE("gaps are found, counted and cut out") {
  auto x = noise(0.05, 20.0, rate);
  const std::vector<double> gaps{3.0, 8.5, 14.2};
  for (double at : gaps)
    for (std::size_t i = 0; i < 4800; ++i)
      x[static_cast<std::size_t>(at * rate) + i] = 0.01F;  // held, 100 ms
  const RecordingQuality q = quality_of(x);
  CHECK(q.dropouts == 3);
  CHECK(q.dropped.value() == Approx(0.3).margin(0.05));
  for (double at : gaps) CHECK_FALSE(usable_at(q, at + 0.05));
  CHECK(usable_at(q, 6.0));
  REQUIRE(problem(q, "dropouts"));
  CHECK_FALSE(problem(q, "dropouts")->serious);
}

TEST_CASE("silence before the start and after the end is no dropout") {
  auto x = noise(0.05, 20.0, rate);
  std::fill(x.begin(), x.begin() + 12'000, 0.0F);
  std::fill(x.end() - 12'000, x.end(), 0.0F);
  const RecordingQuality q = quality_of(x);
  CHECK(q.dropouts == 0);
  CHECK(q.problems.empty());
  CHECK_FALSE(usable_at(q, 0.1));
  CHECK(q.usable.value() == Approx(19.5).margin(0.1));
}

TEST_CASE("bumps are found at their times and cut out with their rattle") {
  auto x = noise(0.02, 30.0, rate);
  const auto rattle = noise(0.3, 1.0, rate, 9);
  std::vector<double> bumps;
  for (double at = 1.3; at < 27.0; at += 2.3) bumps.push_back(at);
  for (double at : bumps)
    for (std::size_t i = 0; i < 7200; ++i)
      x[static_cast<std::size_t>(at * rate) + i] += rattle[i] * std::exp(-static_cast<float>(i) / 2400.0F);
  const RecordingQuality q = quality_of(x);
  CHECK(q.bumps_per_minute == Approx(2.0 * static_cast<double>(bumps.size())));
  for (double at : bumps) {
    CHECK_FALSE(usable_at(q, at + 0.02));
    CHECK(usable_at(q, at + 1.0));
  }
  CHECK(problem(q, "bumps"));
  CHECK_FALSE(problem(q, "level pumping"));
}

// A fault's own impacts must never be cut out as bumps.
TEST_CASE("regular knocks are kept") {
  for (double per_second : {2.0, 8.0, 40.0}) {
    auto x = noise(0.02, 20.0, rate);
    for (double at = 0.5; at < 19.5; at += 1.0 / per_second)
      for (std::size_t i = 0; i < 960; ++i)
        x[static_cast<std::size_t>(at * rate) + i] +=
            0.3F * std::sin(0.35F * static_cast<float>(i)) * std::exp(-static_cast<float>(i) / 150.0F);
    const RecordingQuality q = quality_of(x);
    INFO(per_second);
    CHECK(q.usable.value() > 19.9);
  }
}

TEST_CASE("silent, quiet and one-second recordings say what they are") {
  const RecordingQuality silent = quality_of(std::vector<float>(480'000));
  REQUIRE(silent.problems.size() == 1);
  CHECK(silent.problems[0].what == "silent");
  CHECK(silent.problems[0].serious);
  CHECK(silent.usable.value() == 0.0);
  CHECK(problem(quality_of(noise(0.0005, 20.0, rate)), "too quiet"));
  const RecordingQuality brief = quality_of(noise(0.05, 1.0, rate));
  REQUIRE(problem(brief, "too short"));
  CHECK(problem(brief, "too short")->serious);
  CHECK(brief.usable.value() == Approx(1.0));
  for (std::size_t count : {1u, 100u, 3000u})
    CHECK(problem(quality_of(std::vector<float>(count, 0.1F)), "too short"));
  CHECK(problem(quality_of({}), "silent"));
}

TEST_CASE("serious problems come first") {
  auto x = noise(0.05, 3.0, rate);
  x[70'000] = 1.0F;
  for (std::size_t i = 0; i < 40; ++i) x[60'000 + i] = 1.0F;
  const RecordingQuality q = quality_of(low_passed(x, 4000.0));
  REQUIRE(q.problems.size() >= 2);
  bool serious = true;
  for (const Problem& p : q.problems) {
    CHECK((serious || !p.serious));
    serious = p.serious;
  }
}
