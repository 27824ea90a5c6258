#include "gearhark/evidence/event_comb.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numeric>

#include "../../src/signal/wide/wide.hpp"
#include "../noise.hpp"

using namespace gearhark;

namespace {

constexpr double turns = 300.0;
constexpr std::size_t bins = 24000;  // orders 0 .. 80

void set_power(EnvelopeSpectra& spectra, std::span<const float> power) {
  auto sums = std::make_shared<GroupSums>(power.size(), 1);
  sums->extend(power, power.size(), power.size());
  spectra.groups[0].sums = sums;
}

// One group of noise that is exactly as assumed: exponential bins, background 1.
EnvelopeSpectra noise_spectra(test::Noise& noise) {
  EnvelopeSpectra spectra;
  spectra.turns = turns;
  spectra.mean_rate = 10.0;
  spectra.groups.resize(1);
  spectra.groups[0].effective_bands.assign(16, 1.0);
  spectra.masked.assign(bins + 1, 0.0);
  std::vector<float> power(bins);
  for (float& p : power) p = static_cast<float>(noise.exponential());
  set_power(spectra, power);
  return spectra;
}

void add_line(EnvelopeSpectra& spectra, double order, double power, double spread_orders) {
  const auto from = static_cast<std::size_t>(std::lround((order - spread_orders / 2) * turns));
  const auto to = std::max(from, static_cast<std::size_t>(std::lround((order + spread_orders / 2) * turns)));
  std::vector<float> all(bins);
  for (std::size_t k = 0; k < bins; ++k) all[k] = static_cast<float>(spectra.groups[0].mean(k, k + 1));
  for (std::size_t k = from; k <= to; ++k)
    all[k] += static_cast<float>(power / static_cast<double>(to - from + 1));
  set_power(spectra, all);
}

Family race(double slip_low = -0.017, double slip_high = 0.002) {
  Family family;
  family.part = "bearing";
  family.fault = Fault::outer_race;
  family.slip_low = slip_low;
  family.slip_high = slip_high;
  return family;
}

double log_factor(const EnvelopeSpectra& spectra, const Family& family, double fundamental,
                  std::span<const ExplainedOrders> explained = {}) {
  return combine({event_evidence(spectra, family, fundamental, 0.0, {explained, {}})}).log_bayes_factor;
}

}  // namespace

TEST_CASE("noise alone passes for a fault no oftener than its factor says") {
  // Markov: P(Bayes factor > 1/a) <= a for noise that is as modelled. 400 trials, a = 1/20: at most 20
  // expected; the binomial's 99.9 % point for p = 1/20 is 35.
  test::Noise noise(1);
  int over = 0;
  for (int trial = 0; trial < 400; ++trial)
    over += log_factor(noise_spectra(noise), race(), 3.585) > std::log(20.0);
  CHECK(over <= 35);
}

TEST_CASE("a comb is found, with its slip") {
  test::Noise noise(2);
  EnvelopeSpectra spectra = noise_spectra(noise);
  const double slip = -0.010;
  for (int h = 1; h <= 4; ++h) add_line(spectra, 3.585 * (1.0 + slip) * h, 60.0, 0.01 * h);
  const CombinedEvents found = combine({event_evidence(spectra, race(), 3.585, 0.0)});
  CHECK(found.log_bayes_factor > 10.0);
  CHECK(found.best_slip == Approx(slip).margin(0.002));
}

TEST_CASE("one strong line alone is not a comb") {
  test::Noise noise(3);
  EnvelopeSpectra one = noise_spectra(noise);
  add_line(one, 3.585, 1e5, 0.01);
  test::Noise again(3);
  EnvelopeSpectra comb = noise_spectra(again);
  for (int h = 1; h <= 4; ++h) add_line(comb, 3.585 * h, 200.0, 0.01 * h);
  CHECK(log_factor(one, race(), 3.585) < log_factor(comb, race(), 3.585) - 10.0);
}

TEST_CASE("side lines make no comb where its main lines could be seen, and make one where they can't") {
  constexpr double turn = 1.0, fundamental = 7.4;
  test::Noise noise(6);
  EnvelopeSpectra spectra = noise_spectra(noise);
  for (int h = 1; h <= 3; ++h)
    for (const int side : {-1, 1}) add_line(spectra, h * fundamental + side * turn, 100.0, 0.01 * h);
  const auto found = [&] {
    return combine({event_evidence(spectra, race(), fundamental, turn)}).log_bayes_factor;
  };
  CHECK(found() < 2.0);
  const auto near_main = [&](std::size_t bin) {  // as engine orders would lie, at any slip that is tried
    const double order = static_cast<double>(bin) / turns, off = std::remainder(order, fundamental);
    return order > 1.0 && std::abs(off) < 0.03 * order && std::abs(off) < 0.6;
  };
  for (std::size_t k = 0; k < bins; ++k)
    spectra.masked[k + 1] = spectra.masked[k] + (near_main(k) ? 1.0 : 0.0);
  CHECK(found() > 10.0);
}

TEST_CASE("side lines count as far as the line between them does") {
  // Both have the first harmonic; the one has its side lines, the other those of the third, which it lacks.
  test::Noise noise(21), again(21);
  EnvelopeSpectra beside = noise_spectra(noise), alone = noise_spectra(again);
  Family inner = race();
  inner.fault = Fault::inner_race;
  for (EnvelopeSpectra* spectra : {&beside, &alone}) add_line(*spectra, 5.415, 60.0, 0.01);
  for (const int side : {-2, -1, 1, 2}) {
    add_line(beside, 5.415 + side, 40.0, 0.01);
    add_line(alone, 3 * 5.415 + side, 40.0, 0.01);
  }
  const auto factor = [&](const EnvelopeSpectra& spectra) {
    return combine({event_evidence(spectra, inner, 5.415, 1.0)}).log_bayes_factor;
  };
  CHECK(factor(beside) > factor(alone) + 10.0);
}

TEST_CASE("a line at which a comb expects two of its own counts once") {
  // A cage that turns half as often as an element strikes: two above the first harmonic and two below the
  // second are one place, as are others.
  test::Noise noise(22);
  EnvelopeSpectra spectra = noise_spectra(noise);
  add_line(spectra, 9.4, 60.0, 0.01);
  add_line(spectra, 14.1, 60.0, 0.01);
  Family element = race();
  element.fault = Fault::rolling_element;
  const std::vector<CombSeen> seen = comb_seen(spectra, element, 9.4, 4.7, 0.0, 0);
  for (const CombSeen& one : seen)
    for (const CombSeen& other : seen)
      if (&one != &other) CHECK(std::abs(one.order - other.order) > 0.1);
  // One line more at 14.1 is no more than one line's worth, 14 nats.
  test::Noise again(22);
  EnvelopeSpectra less = noise_spectra(again);
  add_line(less, 9.4, 60.0, 0.01);
  const auto factor = [&](const EnvelopeSpectra& of) {
    return combine({event_evidence(of, element, 9.4, 4.7)}).log_bayes_factor;
  };
  CHECK(factor(spectra) > factor(less) + 3.0);
  CHECK(factor(spectra) < factor(less) + 14.5);
}

TEST_CASE("lines that another fault explains are not counted") {
  test::Noise noise(4);
  EnvelopeSpectra spectra = noise_spectra(noise);
  for (int h = 1; h <= 6; ++h) add_line(spectra, 3.585 * h, 100.0, 0.01 * h);
  const Family family = race();
  const auto explained = explained_by(family, 3.585, 0.0, 0.0);
  CHECK(log_factor(spectra, family, 3.585) > 15.0);
  CHECK(log_factor(spectra, family, 3.585, explained) < 1.0);
}

TEST_CASE("a knock once per turn explains every multiple of its shaft's turns, and nothing beside them") {
  Family knock;
  knock.fault = Fault::chipped_tooth;
  const auto explained = explained_by(knock, 3.6, 0.0, 0.0);
  const auto explains = [&](double order) {
    return std::any_of(explained.begin(), explained.end(),
                       [order](const ExplainedOrders& e) { return order > e.low && order < e.high; });
  };
  for (const int turn : {1, 7, 14, 35, 42}) CHECK(explains(3.6 * turn));
  for (const double turn : {6.9, 7.1, 14.1, 35.2}) CHECK_FALSE(explains(3.6 * turn));
}

TEST_CASE("runs add up, and a run in which the part should sound and does not counts against it") {
  test::Noise noise(5);
  EnvelopeSpectra loud = noise_spectra(noise);
  for (int h = 1; h <= 3; ++h) add_line(loud, 5.4 * h, 40.0, 0.01 * h);
  EventEvidence heard = event_evidence(loud, race(), 5.4, 0.0);
  EventEvidence silent = event_evidence(noise_spectra(noise), race(), 5.4, 0.0);
  EventEvidence unseen = silent;
  unseen.visibility = 0.02;
  const double alone = combine({heard}).log_bayes_factor;
  CHECK(combine({heard, heard}).log_bayes_factor > alone + 2.0);
  CHECK(combine({heard, silent}).log_bayes_factor < alone);
  CHECK(combine({heard, unseen}).log_bayes_factor == Approx(alone).margin(0.6));
}

TEST_CASE("of a bearing with only its count known the whole range of its sizes is searched, slip on top") {
  Family family = race();
  family.knowledge = Knowledge::count_only;
  family.geometry_low = 0.93;
  family.geometry_high = 1.08;
  const std::vector<double> slips = slip_grid(family);
  CHECK(slips.front() == Approx(0.93 * (1.0 + family.slip_low) - 1.0).margin(1e-9));
  CHECK(slips.back() == Approx(1.08 * (1.0 + family.slip_high) - 1.0).margin(0.005));
  CHECK(slip_grid(race()).size() < slips.size());
}

TEST_CASE("slips near the limits are as rare as two causes that seldom meet there make them") {
  // Drawn: a cage's lag and the error of stated sizes, each as likely anywhere within its limits.
  Family family = race(-0.021, 0.002);
  family.slip_fade = 0.004;
  const std::vector<double> slips = slip_grid(family);
  const double half = 0.5 * (slips[1] - slips[0]);
  test::Noise noise(9);
  std::vector<double> met(slips.size(), 0.0);
  for (int draw = 0; draw < 100'000; ++draw) {
    const double slip = -0.019 * noise.uniform() + 0.004 * (noise.uniform() - 0.5);
    for (std::size_t s = 0; s < slips.size(); ++s)
      if (std::abs(slip - slips[s]) < half) met[s] += 1.0;
  }
  const double mean = std::accumulate(met.begin(), met.end(), 0.0) / static_cast<double>(met.size());
  const std::vector<float> usual = how_usual(family, slips);
  for (std::size_t s = 0; s < slips.size(); ++s)
    CHECK(std::exp(usual[s]) == Approx(met[s] / mean).margin(0.08));
  CHECK(usual.back() < -1.0f);
  family.knowledge = Knowledge::count_only;
  for (const float of_many : how_usual(family, slips)) CHECK(of_many == 0.0f);
}

TEST_CASE("a comb at a slip that is rare says less") {
  const auto gained = [](double slip) {
    test::Noise noise(12);
    EnvelopeSpectra spectra = noise_spectra(noise);
    for (int h = 1; h <= 4; ++h) add_line(spectra, 3.585 * (1.0 + slip) * h, 60.0, 0.001 * h);
    Family fading = race(-0.021, 0.002);
    fading.slip_fade = 0.004;
    return log_factor(spectra, fading, 3.585) - log_factor(spectra, race(-0.021, 0.002), 3.585);
  };
  CHECK(gained(-0.0098) == Approx(std::log(23.0 / 19.0)).margin(0.05));  // of 23 thousandths 19 are left
  CHECK(gained(0.0014) < -0.5);  // the next slip on the grid hears some of it, too
  CHECK(gained(-0.0205) < -0.5);
}

TEST_CASE("means over bins are right to a thousandth wherever the running sums have wrapped round") {
  const std::size_t count = 9'000'000;  // bins of 1: four times what fits
  std::vector<float> power(2 * count, 1.0f);
  power[2 * count - 5] = 4.0f;
  GroupSums sums(count, 2);
  sums.extend(power, count, count);
  CHECK(sums.mean(1, count - 10, count) == Approx(1.3).margin(1e-3));
  CHECK(sums.mean(1, 3'000'000, 3'000'100) == Approx(1.0).margin(1e-3));
  CHECK(sums.lanes() == 8);
}

TEST_CASE("of two masks looked at together each hides what it hides alone") {
  test::Noise noise(5);
  BandSpectra bands;
  bands.mean_rate = 10.0;
  bands.levels.push_back({50.0, {}, {}, {}});
  for (int b = 0; b < 3; ++b) {
    auto& level = bands.levels.front();
    level.low.emplace_back(1000.0 * b);
    level.high.emplace_back(1000.0 * (b + 2));
    auto& power = level.power.emplace_back(3000);
    for (float& p : power) p = static_cast<float>(noise.exponential());
    for (std::size_t order = 1; order <= 40; ++order) power[50 * order] += 30.0f;
  }
  const std::vector<Masking> both = {{{{3.0}, {7.0}, {9.0}}, Order(1.35)},
                                     {{{5.0}, {7.0}, {22.0}}, Order(0.2)}};
  const auto together = grouped(bands, both);
  Family tick = race();
  tick.fault = Fault::chipped_tooth;
  for (std::size_t m = 0; m < both.size(); ++m) {
    const EnvelopeSpectra alone = grouped(bands, both[m].known, both[m].lowest);
    REQUIRE(together[m].groups.size() == alone.groups.size());
    for (std::size_t g = 0; g < alone.groups.size(); ++g)
      for (std::size_t from = 0; from + 7 < 3000; ++from)
        REQUIRE(together[m].groups[g].mean(from, from + 7) ==
                Approx(alone.groups[g].mean(from, from + 7)).margin(5e-4));
    CHECK(log_factor(together[m], tick, 1.0) == Approx(log_factor(alone, tick, 1.0)).epsilon(1e-3));
  }
  CHECK(together[0].groups[0].mean(150, 151) == Approx(1.0).margin(2e-3));
  CHECK(together[1].groups[0].mean(150, 151) > 20.0);
}

TEST_CASE(
    "a comb's factors do not depend on the instruction set, whatever is left over beside whole registers") {
  Family family = race();
  test::Noise noise(9);
  for (const std::size_t heard : {1u, 3u, 6u, 13u}) {  // 8, 8, 16 and 40 lanes
    BandSpectra bands;
    bands.levels.push_back({turns, std::vector<Hertz>(heard), std::vector<Hertz>(heard), {}});
    for (std::size_t b = 0; b < heard; ++b) {
      auto& power = bands.levels.front().power.emplace_back(6000);
      for (std::size_t k = 0; k < power.size(); ++k)
        power[k] = static_cast<float>(noise.exponential()) + (b % 3 == 1 && k % 1080 < 3 ? 9.0f : 0.0f);
    }
    const EnvelopeSpectra spectra = grouped(bands, {}, Order(0.0));
    set_width(Width::widest);
    const EventEvidence widest = event_evidence(spectra, family, 3.6, 1.0, {});
    for (const Width width : {Width::avx2, Width::baseline}) {
      set_width(width);
      const EventEvidence other = event_evidence(spectra, family, 3.6, 1.0, {});
      REQUIRE(other.log_factor.size() == widest.log_factor.size());
      for (std::size_t i = 0; i < widest.log_factor.size(); ++i)
        REQUIRE(other.log_factor[i] == Approx(widest.log_factor[i]).margin(1e-3));
    }
    set_width(Width::widest);
    const float most = *std::max_element(widest.log_factor.begin(), widest.log_factor.end());
    CHECK((heard == 1 ? most < 5.0f : most > 5.0f));  // in the second band is a comb
  }
}

TEST_CASE("groups read off the sums of their bands are as if each had sums of its own") {
  constexpr std::size_t slots = 31, some_bins = 6000;
  test::Noise noise(8);
  for (const std::size_t heard : {1u, 2u, 3u, 4u, 6u, 9u, 13u, 16u, 17u, 27u, 30u, 31u}) {
    BandSpectra bands;
    bands.levels.push_back({turns, std::vector<Hertz>(slots), std::vector<Hertz>(slots), {}});
    auto& power = bands.levels.front().power;
    power.resize(slots);
    for (std::size_t b = 0; b < heard; ++b)
      for (std::size_t k = 0; k < some_bins; ++k)
        power[b].push_back(static_cast<float>(noise.exponential()) +
                           (k % 1080 == 0 && b % 5 == 2 ? 30.0f : 0.0f));
    const EnvelopeSpectra read = grouped(bands, {}, Order(0.0));
    EnvelopeSpectra own = read;
    std::vector<float> means;
    std::size_t lanes = 0;
    for (const GroupSpectrum& group : read.groups) {
      if (!group.sums) continue;
      const GroupOfBands of = group.sums->groups()[group.lane];
      REQUIRE(of.first + of.count <= heard);
      for (std::size_t k = 0; k < some_bins; ++k) {
        double sum = 0.0;
        for (std::size_t b = of.first; b < of.first + of.count; ++b) sum += static_cast<double>(power[b][k]);
        means.push_back(static_cast<float>(sum / static_cast<double>(of.count)));
      }
      ++lanes;
    }
    const auto sums = std::make_shared<GroupSums>(some_bins, lanes);
    sums->extend(means, some_bins, some_bins);
    for (GroupSpectrum& group : own.groups)
      if (group.sums) group.sums = sums;
    const EventEvidence one = event_evidence(read, race(), 3.6, 1.0, {}),
                        other = event_evidence(own, race(), 3.6, 1.0, {});
    REQUIRE(one.log_factor.size() == other.log_factor.size());
    CHECK(*std::max_element(other.log_factor.begin(), other.log_factor.end()) > (heard > 2 ? 5.0f : -1e9f));
    for (std::size_t i = 0; i < one.log_factor.size(); ++i)
      REQUIRE(one.log_factor[i] == Approx(other.log_factor[i]).epsilon(2e-3).margin(0.02));
  }
}
