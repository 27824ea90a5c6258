#include "gearhark/recording/outline.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

namespace gearhark {
namespace {

Recording of(std::vector<float> samples) {
  Recording out;
  out.sample_rate = 48000.0;
  out.samples = std::move(samples);
  return out;
}

TEST_CASE("the outline holds the largest sample of each part, whatever its sign") {
  CHECK(outline(of({0.1F, -0.5F, 0.2F, 0.0F, 0.3F, -0.25F}), 3) == std::vector<float>{0.5F, 0.2F, 0.3F});
}

TEST_CASE("every sample is in one part of the outline, also where the parts do not divide the recording") {
  std::vector<float> samples(103, 0.0F);
  for (std::size_t i = 0; i < samples.size(); ++i) {
    samples.assign(samples.size(), 0.0F);
    samples[i] = 1.0F;
    const auto parts = outline(of(samples), 10);
    CHECK(std::count(parts.begin(), parts.end(), 1.0F) == 1);
  }
}

TEST_CASE("an outline has no more parts than there are samples") {
  CHECK(outline(of({0.5F, 0.25F}), 600) == std::vector<float>{0.5F, 0.25F});
  CHECK(outline(of({}), 600).empty());
}

}  // namespace
}  // namespace gearhark
