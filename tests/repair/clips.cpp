#include "gearhark/repair/clips.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "../heron.hpp"
#include "driven.hpp"
#include "gearhark/repair/listen.hpp"
#include "gearhark/signal/resample.hpp"

using namespace gearhark;
using test::heron;

namespace {

// 1: the same but for a gain.
double likeness(const std::vector<float>& a, const std::vector<float>& b) {
  double ab = 0.0, aa = 1e-30, bb = 1e-30;
  for (std::size_t i = 0; i < std::min(a.size(), b.size()); ++i) {
    ab += static_cast<double>(a[i]) * static_cast<double>(b[i]);
    aa += static_cast<double>(a[i]) * static_cast<double>(a[i]);
    bb += static_cast<double>(b[i]) * static_cast<double>(b[i]);
  }
  return ab / std::sqrt(aa * bb);
}

}  // namespace

TEST_CASE("a clip is the very seconds that listening to the whole run gives, and a silent suspect has none") {
  const Car car = heron();
  const RunSound run = test::driven(car, "pinion_head_bearing", 12.0);
  const std::vector<RunSound> sounds{run};
  Hearing hearing = hear(car, sounds);
  Diagnosis diagnosis = diagnosis_of(car, hearing);
  REQUIRE(diagnosis.verdict == Verdict::fault_heard);
  Exhibits shown = exhibits(car, sounds, hearing, diagnosis);
  const auto made = clips(car, sounds, hearing, diagnosis, shown);
  REQUIRE_FALSE(made.empty());
  const Clip& clip = made.front();
  CHECK(clip.part == diagnosis.suspects.front().part);
  CHECK(clip.rate_hz == 16000.0);
  CHECK(clip.alone.size() == Approx(clip.duration.value() * 16000.0).margin(2.0));
  CHECK(clip.duration.value() <= 4.0);
  CHECK(clip.as_recorded.size() == clip.alone.size());

  const auto whole = listen(car, sounds, hearing, {clip.part, clip.fault, 0});
  REQUIRE(whole);
  const auto at_16k = resample(whole->samples, whole->rate_hz, 16000.0);
  const auto from = static_cast<std::ptrdiff_t>(std::lround(clip.from.value() * 16000.0));
  const std::vector<float> same(at_16k.begin() + from,
                                at_16k.begin() + from + static_cast<std::ptrdiff_t>(clip.alone.size()));
  CHECK(likeness(clip.alone, same) > 0.97);
  CHECK(likeness(clip.alone, std::vector<float>(same.begin() + 40, same.end())) < 0.5);

  for (RunLevel& level : shown.suspects.front().levels) level.found = 0;
  shown.suspects.resize(1);
  CHECK(clips(car, sounds, hearing, diagnosis, shown).empty());
  shown.suspects.front().levels.front().found = 3;
  CHECK(clips(car, sounds, hearing, diagnosis, shown).size() == 1);
  diagnosis.verdict = Verdict::no_fault_heard;
  CHECK(clips(car, sounds, hearing, diagnosis, shown).empty());
}
