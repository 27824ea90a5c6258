#include "gearhark/evidence/tyre_evidence.hpp"

#include <catch2/catch.hpp>

#include "../noise.hpp"

using namespace gearhark;

namespace {

constexpr double turns = 200.0;

// Noise as it should be, and the multiples from..to of a wheel that turns (1 + slip) times the mean.
OrderSpectrum wheel(std::uint32_t seed, int from, int to, double slip, double power) {
  test::Noise noise(seed);
  OrderSpectrum out;
  out.turns = turns;
  out.mean_rate = 10.0;
  out.power.resize(static_cast<std::size_t>(80 * turns));
  for (float& bin : out.power) bin = static_cast<float>(noise.exponential());
  out.background.assign(out.power.size(), 1.0f);
  for (int multiple = from; multiple <= to; ++multiple)
    out.power[out.bin(multiple * (1.0 + slip))] += static_cast<float>(power);
  return out;
}

TyreEvidence of(const std::vector<OrderSpectrum>& runs, std::vector<double> known = {}) {
  std::vector<TyreRun> looked_at;
  for (const OrderSpectrum& run : runs) looked_at.push_back({&run, known});
  return tyre_evidence(looked_at);
}

}  // namespace

TEST_CASE("a lumpy tyre is found though it turns a little faster than the mean wheel, and by how much") {
  const TyreEvidence found = of({wheel(1, 12, 28, 0.003, 30.0), wheel(2, 12, 28, 0.003, 30.0)});
  CHECK(found.log_factor > 5.0);
  CHECK(found.slip == Approx(0.003).margin(0.0006));
  CHECK(std::abs(found.centre - 20.0) < 6.0);
}

TEST_CASE("lumps that turn unlike in two runs are not one tyre") {
  const double one = of({wheel(1, 12, 28, 0.004, 30.0), wheel(2, 12, 28, 0.004, 30.0)}).log_factor,
               two = of({wheel(1, 12, 28, 0.004, 30.0), wheel(2, 12, 28, -0.004, 30.0)}).log_factor;
  CHECK(two < one - 5.0);
}

TEST_CASE("of noise alone no tyre is made: its factor exceeds 20 less often than once in 20") {
  // Markov's inequality for a Bayes factor; 100 trials, binomial 99.9 % point 13.
  int over = 0;
  for (std::uint32_t trial = 0; trial < 100; ++trial)
    over += of({wheel(100 + trial, 1, 0, 0.0, 0.0)}).log_factor > std::log(20.0);
  CHECK(over <= 13);
}

TEST_CASE("the skirts of a sound tread are no lumps") {
  OrderSpectrum tread = wheel(7, 45, 56, 0.0, 8.0);
  for (int multiple = 57; multiple <= 60; ++multiple) tread.power[tread.bin(multiple)] += 200.0f;
  CHECK(of({tread}).log_factor < 0.5);
}

TEST_CASE("orders that other things sound at are left out") {
  std::vector<double> known;
  for (int order = 3; order <= 60; ++order) known.push_back(order);
  const TyreEvidence found = of({wheel(9, 12, 28, 0.0, 30.0)}, known);
  CHECK(found.log_factor < 0.5);
}
