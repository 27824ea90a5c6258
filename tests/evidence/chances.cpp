// The chances that are printed beside lines: what noise alone does as often as they say, or less.
#include <catch2/catch.hpp>
#include <cmath>

#include "../noise.hpp"
#include "gearhark/evidence/event_comb.hpp"
#include "gearhark/evidence/healthy_orders.hpp"
#include "gearhark/evidence/order_spectrum.hpp"

using namespace gearhark;

namespace {

constexpr double rate_hz = 16000.0, duration_s = 12.0;

std::vector<float> plain_noise(test::Noise& noise) {
  std::vector<float> samples(static_cast<std::size_t>(rate_hz * duration_s));
  for (float& sample : samples) sample = static_cast<float>(noise.gaussian());
  return samples;
}

AngleTrack steady() {
  return integrate(std::vector<double>(static_cast<std::size_t>(duration_s / 0.05) + 2, 10.0), 0.05);
}

// Share of trials at or below a stated chance, over that chance.
struct Tally {
  int trials = 0, below_hundredth = 0, below_thousandth = 0;
  void count(double chance) {
    ++trials;
    below_hundredth += chance < 1e-2;
    below_thousandth += chance < 1e-3;
  }
  [[nodiscard]] double hundredths() const { return 100.0 * below_hundredth / trials; }
  [[nodiscard]] double thousandths() const { return 1000.0 * below_thousandth / trials; }
};

}  // namespace

TEST_CASE("a comb's lines stand out of noise no oftener than the chance beside them says") {
  test::Noise noise(21);
  Tally tally;
  for (int recording = 0; recording < 6; ++recording) {
    const EnvelopeSpectra spectra =
        grouped(band_spectra(plain_noise(noise), steady(), nullptr, {}), {}, lowest_order(Events::slipping));
    Family family;
    family.fault = Fault::outer_race;
    for (double fundamental = 2.31; fundamental < 9.0; fundamental += 0.37)
      for (std::size_t group = 0; group < spectra.groups.size(); group += 7)
        for (const CombSeen& line : comb_seen(spectra, family, fundamental, 0.0, 0.0, group))
          tally.count(line.chance);
  }
  INFO(tally.trials << " lines: " << tally.hundredths() << ", " << tally.thousandths());
  CHECK(tally.trials > 3000);
  CHECK(tally.hundredths() < 1.3);
  CHECK(tally.hundredths() > 0.2);  // nor so seldom that it means nothing
  CHECK(tally.thousandths() < 2.0);
}

TEST_CASE("tones stand out of noise as often as the chance beside them says") {
  test::Noise noise(22);
  Tally tally;
  for (int recording = 0; recording < 6; ++recording) {
    const OrderSpectrum tones = order_spectrum(plain_noise(noise), rate_hz, steady());
    for (double order = 5.3; order < 300.0; order += 0.431)
      tally.count(tones.strength(order, tones.usual_half_width(order)).chance);
  }
  INFO(tally.trials << " orders: " << tally.hundredths() << ", " << tally.thousandths());
  CHECK(tally.hundredths() < 1.5);
  CHECK(tally.hundredths() > 0.5);
  CHECK(tally.thousandths() < 2.5);
}
