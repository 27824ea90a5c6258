// Robust statistics: small cases by hand, and noise whose floor is known.
#include "gearhark/signal/statistics.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "../../src/signal/wide/wide.hpp"

using namespace gearhark;

TEST_CASE("quantiles interpolate between neighbours as numpy.quantile does by default") {
  const std::vector<float> values{3.0f, 1.0f, 4.0f, 1.0f, 5.0f, 9.0f, 2.0f, 6.0f};
  // numpy 1.24: quantile([3,1,4,1,5,9,2,6], [0, .1, .25, .5, .9, 1])
  CHECK(quantile(values, 0.0) == 1.0);
  CHECK(quantile(values, 0.1) == Approx(1.0));
  CHECK(quantile(values, 0.25) == Approx(1.75));
  CHECK(quantile(values, 0.5) == Approx(3.5));
  CHECK(quantile(values, 0.9) == Approx(6.9));
  CHECK(quantile(values, 1.0) == 9.0);
  CHECK(median(std::vector<float>{7.0f}) == 7.0);
  CHECK(median({}) == 0.0);
}

TEST_CASE("the median absolute deviation ignores a few wild values") {
  std::mt19937 random(3);
  std::normal_distribution<float> noise(5.0f, 2.0f);
  std::vector<float> values(20001);
  for (auto& x : values) x = noise(random);
  for (std::size_t i = 0; i < 200; ++i) values[i * 100] = 1e6f;
  CHECK(1.4826 * median_absolute_deviation(values) == Approx(2.0).epsilon(0.05));
  CHECK(median(values) == Approx(5.0).epsilon(0.02));
}

TEST_CASE("moving average and running median use centred windows, shorter at the ends") {
  const std::vector<float> values{1.0f, 2.0f, 30.0f, 4.0f, 5.0f};
  CHECK(moving_average(values, 3) == std::vector<float>{1.5f, 11.0f, 12.0f, 13.0f, 4.5f});
  CHECK(running_median(values, 3) == std::vector<float>{1.5f, 2.0f, 4.0f, 5.0f, 4.5f});
  CHECK(running_median(values, 1) == values);
  CHECK(running_median({}, 3).empty());
}

TEST_CASE("a moving average is that of its window anywhere in long signals") {
  std::vector<float> values(7001);
  for (std::size_t i = 0; i < values.size(); ++i) values[i] = static_cast<float>((i * i) % 1009);
  for (const std::size_t width : {1u, 7u, 500u, 1501u, 6500u, 9000u}) {
    const std::vector<float> averaged = moving_average(values, width);
    std::vector<float> less = values;  // overwritten meanwhile
    for_moving_average(less, width, [&](std::size_t first, std::span<const float> means) {
      for (std::size_t i = 0; i < means.size(); ++i) less[first + i] -= means[i];
    });
    for (std::size_t i = 0; i < values.size(); ++i) REQUIRE(less[i] == values[i] - averaged[i]);
    for (std::size_t i = 0; i < values.size(); i += 53) {
      const std::size_t half = width / 2, from = i > half ? i - half : 0,
                        to = std::min(values.size(), i + half + 1);
      double sum = 0.0;
      for (std::size_t k = from; k < to; ++k) sum += static_cast<double>(values[k]);
      REQUIRE(averaged[i] == Approx(sum / static_cast<double>(to - from)).epsilon(1e-6));
    }
  }
}

TEST_CASE("the running median equals the median of each window") {
  std::mt19937 random(4);
  std::uniform_int_distribution<int> die(0, 9);  // many equal values
  std::vector<float> values(300);
  for (auto& x : values) x = static_cast<float>(die(random));
  const auto fast = running_median(values, 21);
  for (std::size_t i = 0; i < values.size(); ++i) {
    const std::size_t from = i > 10 ? i - 10 : 0, to = std::min<std::size_t>(values.size(), i + 11);
    CHECK(static_cast<double>(fast[i]) == median(std::span(values).subspan(from, to - from)));
  }
}

TEST_CASE("the block median follows a straight slope exactly between the first and last block centre") {
  std::vector<float> slope(1000);
  for (std::size_t i = 0; i < slope.size(); ++i) slope[i] = 0.5f * static_cast<float>(i);
  const auto found = block_median(slope, 101);
  for (std::size_t i = 50; i < 949; ++i) CHECK(found[i] == Approx(slope[i]).margin(0.01));
  CHECK(block_median(std::vector<float>{4.0f, 2.0f}, 100) == std::vector<float>{3.0f, 3.0f});
  CHECK(block_median({}, 5).empty());
}

TEST_CASE("the exponential background finds the noise floor under tones") {
  std::mt19937 random(5);
  std::exponential_distribution<float> noise(1.0f / 3.0f);
  std::vector<float> power(40000);
  for (auto& x : power) x = noise(random);
  for (std::size_t i = 0; i < power.size(); i += 50) power[i] = 1e5f;
  const auto floor = exponential_background(power, 2000);
  double mean = 0.0;
  for (const float f : floor) mean += static_cast<double>(f) / static_cast<double>(floor.size());
  // 2 % of bins are tones: the median of the rest sits at quantile 0.51, 1.5 % higher
  CHECK(mean == Approx(3.0).epsilon(0.05));
}

namespace {

std::vector<float> drawn(std::size_t count, bool signed_too) {
  std::mt19937 random(7);
  std::exponential_distribution<float> size(1.0f);
  std::vector<float> values(count);
  for (float& value : values) {
    value = size(random);
    if (signed_too && random() % 2 == 0) value = -value;
    if (random() % 5 == 0) value = std::round(2.0f * value);  // ties, and zeros of both signs
  }
  return values;
}

double of_sorted(std::vector<float> values, double share) {
  std::sort(values.begin(), values.end());
  const double rank = share * static_cast<double>(values.size() - 1);
  const auto below = static_cast<std::size_t>(rank);
  const double low = static_cast<double>(values[below]);
  return below + 1 == values.size()
             ? low
             : std::lerp(low, static_cast<double>(values[below + 1]), rank - std::floor(rank));
}

}  // namespace

TEST_CASE("quantiles of many values are those of the values sorted, to the last bit") {
  for (const std::size_t count : {1023u, 1024u, 1025u, 20000u, 20001u}) {
    const std::vector<float> values = drawn(count, true);
    const std::vector<double> shares{0.0, 0.1, 0.25, 0.5, 0.75, 0.999, 1.0};
    const std::vector<double> found = quantiles(values, shares);
    for (std::size_t i = 0; i < shares.size(); ++i) {
      CHECK(found[i] == of_sorted(values, shares[i]));
      CHECK(quantile(values, shares[i]) == found[i]);
    }
  }
}

TEST_CASE("ranks in lanes are those of each lane sorted, whatever the instruction set") {
  for (const Width width : {Width::widest, Width::avx2, Width::baseline}) {
    set_width(width);
    for (const std::size_t count : {1u, 2u, 7u, 150u, 811u}) {
      std::vector<float> lanes = drawn(ranked_lanes * count, false);
      for (std::size_t k = 0; k < count; ++k) {
        float* row = &lanes[ranked_lanes * k];
        row[0] = 0.0f;                   // nothing at all
        row[1] = 7e-3f;                  // all equal
        row[2] = 1.0f + 1e-4f * row[2];  // narrow
        row[3] = k == 0 ? 3e30f : row[3];
        row[4] = k % 3 == 0 ? 0.0f : 1e-30f;  // ties at both ends
      }
      for (const std::size_t rank :
           {std::size_t{0}, (count - 1) / 4, (count - 1) / 2, 3 * (count - 1) / 4, count - 1}) {
        const LaneRanked found = lane_ranked(lanes, rank);
        CHECK(lane_rank(lanes, rank) == found.value);
        for (std::size_t lane = 0; lane < ranked_lanes; ++lane) {
          std::vector<float> sorted;
          for (std::size_t k = 0; k < count; ++k) sorted.push_back(lanes[ranked_lanes * k + lane]);
          std::sort(sorted.begin(), sorted.end());
          CHECK(found.value[lane] == sorted[rank]);
          CHECK(found.above[lane] == sorted[std::min(rank + 1, count - 1)]);
        }
      }
    }
  }
  set_width(Width::widest);
}

TEST_CASE("block medians in lanes are block medians") {
  const std::vector<float> values = drawn(5000, false);
  for (const std::size_t width : {1u, 2u, 51u, 400u, 9000u})
    CHECK(block_median_of_positive(values, width) == block_median(values, width));
}

TEST_CASE("logarithms of many values are right to two ten-millionths of a neper or of their size") {
  std::vector<float> values{1e-30f,     1e-6f, 0.5f,  0.7071067f, 0.7071069f, 1.0f,
                            1.4142135f, 3.0f,  7e10f, 2.5f,       1e30f};
  const std::vector<float> before = values;
  take_logs(values, 0.25f);
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double exact = std::log(static_cast<double>(before[i] + 0.25f));
    CHECK(static_cast<double>(values[i]) == Approx(exact).margin(2e-7).epsilon(2e-7));
  }
}
