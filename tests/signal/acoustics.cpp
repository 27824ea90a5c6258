// Weightings, bands and prominence criteria against the values of the standards.
#include "gearhark/signal/acoustics.hpp"

#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

using namespace gearhark;

TEST_CASE("the A-weighting has all 34 values of the table in IEC 61672-1 at the exact midbands") {
  // 10 Hz to 20 kHz in third octaves, dB to one decimal.
  const std::array table{-70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1,
                         -13.4, -10.9, -8.6,  -6.6,  -4.8,  -3.2,  -1.9,  -0.8,  0.0,   0.6,   1.0,   1.2,
                         1.3,   1.2,   1.0,   0.5,   -0.1,  -1.1,  -2.5,  -4.3,  -6.6,  -9.3};
  static_assert(table.size() == 34);
  for (std::size_t i = 0; i < table.size(); ++i) {
    const Hertz f = third_octave_midband(static_cast<int>(i) - 20);
    INFO(f.value() << " Hz");
    CHECK(std::round(10.0 * a_weighting(f).value()) == Approx(10.0 * table[i]).margin(1e-9));
  }
}

TEST_CASE("the A-weighting constants rounded as in handbooks agree within 0.01 dB") {
  // 20.6, 107.7, 737.9, 12200 Hz and +2.00 dB: the rounded form in general use.
  for (const double f : {31.5, 125.0, 500.0, 1000.0, 4000.0}) {
    const double ff = f * f;
    const double gain = 12200.0 * 12200.0 * ff * ff /
                        ((ff + 20.6 * 20.6) * (ff + 12200.0 * 12200.0) *
                         std::sqrt((ff + 107.7 * 107.7) * (ff + 737.9 * 737.9)));
    CHECK(a_weighting(Hertz(f)).value() == Approx(20.0 * std::log10(gain) + 2.0).margin(0.01));
  }
}

TEST_CASE("third-octave bands have the exact midbands and edges of IEC 61260-1") {
  CHECK(third_octave_midband(0).value() == 1000.0);
  CHECK(third_octave_midband(3).value() == Approx(1995.262).margin(5e-4));
  CHECK(third_octave_midband(-10).value() == Approx(100.0));
  CHECK(third_octave_band(0).low.value() == Approx(891.25).margin(0.005));
  CHECK(third_octave_band(0).high.value() == Approx(1122.02).margin(0.005));
  for (int b = -20; b < 13; ++b)
    CHECK(third_octave_band(b).high.value() == Approx(third_octave_band(b + 1).low.value()));
}

TEST_CASE("critical bands and prominence criteria have the values of ECMA-418-1") {
  // Frequency, width, edges, tone-to-noise and prominence-ratio criterion, computed from the standard's
  // formulas; 162.2 Hz at 1 kHz is printed in it (from memory).
  struct Row {
    double f, width, low, high, tnr, pr;
  };
  const std::vector<Row> table{
      {100, 100.7, 49.6, 150.4, 16.33, 19.00},  {200, 102.9, 148.6, 251.4, 13.82, 15.99},
      {500, 117.3, 444.8, 562.1, 10.51, 12.01}, {1000, 162.2, 922.2, 1084.4, 8, 9},
      {2000, 300.8, 1855.3, 2156.0, 8, 9},      {4000, 685.4, 3671.9, 4357.4, 8, 9}};
  for (const auto& row : table) {
    const Hertz f(row.f);
    INFO(row.f << " Hz");
    CHECK(critical_bandwidth(f).value() == Approx(row.width).margin(0.06));
    CHECK(critical_band(f).low.value() == Approx(row.low).margin(0.06));
    CHECK(critical_band(f).high.value() == Approx(row.high).margin(0.06));
    CHECK(prominent_tone_to_noise(f).value() == Approx(row.tnr).margin(0.006));
    CHECK(prominent_ratio(f).value() == Approx(row.pr).margin(0.006));
  }
  CHECK_FALSE(tone_can_be_judged(Hertz(89.0)));
  CHECK(tone_can_be_judged(Hertz(89.2)));
  CHECK(tone_can_be_judged(Hertz(11220.0)));
  CHECK_FALSE(tone_can_be_judged(Hertz(11221.0)));
}

TEST_CASE("the bands beside a critical band end where the next critical bands would") {
  // The standard's polynomials for the outer edges against its own band formula: they approximate critical
  // bands, by up to 5.1 % of the width (8 kHz, 1 kHz); a wrong coefficient would miss by far more.
  for (const double f : {250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0}) {
    for (const Band& beside : {critical_band_below(Hertz(f)), critical_band_above(Hertz(f))}) {
      INFO(f << " Hz: " << beside.low.value() << " to " << beside.high.value());
      const double width = (beside.high - beside.low).value();
      const Hertz centre(f < 500.0 ? 0.5 * (beside.low + beside.high).value()
                                   : std::sqrt(beside.low.value() * beside.high.value()));
      CHECK(width == Approx(critical_bandwidth(centre).value()).epsilon(0.055));
    }
  }
  CHECK(critical_band_below(Hertz(120.0)).low.value() == 20.0);
}

TEST_CASE("a tone 20 dB over the noise in its critical band reads so by both measures") {
  const double bin_hz = 1.0, f = 1000.0;
  std::vector<float> power(4000, 1.0f);
  const double noise = critical_bandwidth(Hertz(f)).value();
  power[1000] += static_cast<float>(100.0 * noise);
  CHECK(tone_to_noise(power, bin_hz, {Hertz(999.5), Hertz(1000.5)}).value() == Approx(20.0).margin(0.01));
  // Noise of equal density: the neighbours' powers are their widths.
  const auto width = [](Band band) { return (band.high - band.low).value(); };
  const double beside = 0.5 * (width(critical_band_below(Hertz(f))) + width(critical_band_above(Hertz(f))));
  CHECK(prominence_ratio(power, bin_hz, Hertz(f)).value() ==
        Approx(10.0 * std::log10(101.0 * noise / beside)).margin(0.01));
}

TEST_CASE("below 171.4 Hz the cut-off lower band counts as if 100 Hz wide") {
  const std::vector<float> flat(2000, 1.0f);
  const Band above = critical_band_above(Hertz(120.0));
  const double wanted =
      critical_bandwidth(Hertz(120.0)).value() / (0.5 * (100.0 + (above.high - above.low).value()));
  CHECK(prominence_ratio(flat, 0.5, Hertz(120.0)).power_ratio() == Approx(wanted).epsilon(1e-3));
}

TEST_CASE("prominence does not depend on the level of the sound") {
  std::vector<float> power(4000, 2.0f);
  power[700] = 500.0f;
  const double once = prominence_ratio(power, 1.0, Hertz(700.0)).value();
  for (auto& p : power) p *= 1e4f;
  CHECK(prominence_ratio(power, 1.0, Hertz(700.0)).value() == Approx(once).margin(1e-4));
}
