#include "gearhark/signal/parallel.hpp"

#include <catch2/catch.hpp>
#include <stdexcept>
#include <vector>

using namespace gearhark;

TEST_CASE("every piece of work is done once") {
  std::vector<int> done(1000, 0);
  for_each_in_parallel(done.size(), [&](std::size_t i) { ++done[i]; });
  for (const int times : done) REQUIRE(times == 1);
  for_each_in_parallel(0, [](std::size_t) { FAIL("there was nothing to do"); });
}

TEST_CASE("a failure reaches the caller after the rest has ended") {
  std::vector<int> done(20, 0);
  CHECK_THROWS_AS(for_each_in_parallel(20,
                                       [&](std::size_t i) {
                                         if (i == 3) throw std::runtime_error("three");
                                         done[i] = 1;
                                       }),
                  std::runtime_error);
  int sum = 0;
  for (const int d : done) sum += d;
  CHECK(sum == 19);
}
