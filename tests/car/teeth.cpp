#include "gearhark/car/teeth.hpp"

#include <catch2/catch.hpp>
#include <string>
#include <utility>

using namespace gearhark;
using Catch::Matchers::Contains;

TEST_CASE("the usual final drives come first for their stated ratios") {
  // Trade rounding of usual axle ratios: common practice, no published source.
  for (const auto& [text, driving, driven] : {std::tuple{"4.11", 9, 37},
                                              {"4.10", 10, 41},
                                              {"3.73", 11, 41},
                                              {"4.56", 9, 41},
                                              {"3.91", 11, 43},
                                              {"3.90", 10, 39},
                                              {"2.73", 15, 41},
                                              {"4.88", 8, 39},
                                              {"5.13", 8, 41}}) {
    const auto pairs = tooth_pairs_for_ratio(text);
    INFO(text);
    REQUIRE(pairs);
    REQUIRE_FALSE(pairs->empty());
    CHECK(pairs->front().driving == driving);
    CHECK(pairs->front().driven == driven);
  }
}

TEST_CASE("every pair listed rounds to the ratio, and none that does is left out") {
  const auto pairs = tooth_pairs_for_ratio("3.55");
  REQUIRE(pairs);
  std::size_t expected = 0;
  for (int driving = 5; driving <= 60; ++driving)
    for (int driven = 5; driven <= 100; ++driven)
      expected += std::abs(100.0 * driven / driving - 355.0) <= 0.5 + 1e-9;
  CHECK(pairs->size() == expected);
  for (const auto& p : *pairs) CHECK(std::abs(p.ratio - 3.55) <= 0.005 + 1e-9);
}

TEST_CASE("more digits leave fewer pairs") {
  CHECK(tooth_pairs_for_ratio("3.727")->size() < tooth_pairs_for_ratio("3.73")->size());
  CHECK(tooth_pairs_for_ratio("3.73")->size() < tooth_pairs_for_ratio("3.7")->size());
}

TEST_CASE("what is no ratio is refused with an example") {
  for (const auto* text : {"", "four", "0", "-3", "100", "nan", "4.11:1", "4,11"}) {
    INFO(text);
    const auto pairs = tooth_pairs_for_ratio(text);
    REQUIRE_FALSE(pairs);
    CHECK(pairs.error().kind == ErrorKind::usage);
    CHECK_THAT(pairs.error().sentence, Contains("4.11"));
  }
}
