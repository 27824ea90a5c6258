#include "gearhark/evidence/envelope_spectra.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "../noise.hpp"
#include "gearhark/evidence/angle_grid.hpp"
#include "gearhark/evidence/order_spectrum.hpp"

using namespace gearhark;

namespace {

constexpr double rate_hz = 16000.0;

AngleTrack ramp(double from_hz, double to_hz, double duration_s) {
  AngleTrack track;
  double turns = 0.0;
  const auto steps = static_cast<std::size_t>(duration_s / track.step_s) + 1;
  for (std::size_t i = 0; i <= steps; ++i) {
    track.turns.push_back(turns);
    const double middle = (static_cast<double>(i) + 0.5) / static_cast<double>(steps);
    turns += track.step_s * (from_hz + (to_hz - from_hz) * middle);
  }
  return track;
}

// Noise with a burst `order` times per turn.
std::vector<float> bursts(const AngleTrack& track, double order, double duration_s, double depth) {
  test::Noise noise(11);
  std::vector<float> samples(static_cast<std::size_t>(duration_s * rate_hz));
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const double phase = order * track.at(static_cast<double>(i) / rate_hz);
    const double since = phase - std::floor(phase);
    samples[i] = static_cast<float>(noise.gaussian() * (0.1 + depth * std::exp(-since * 12.0)));
  }
  return samples;
}

double power_at(const EnvelopeSpectra& spectra, double order) {
  const GroupSpectrum& all = spectra.groups.back();
  const double bin = order * spectra.turns;
  return all.mean(static_cast<std::size_t>(std::lround(bin) - 1),
                  static_cast<std::size_t>(std::lround(bin) + 2));
}

}  // namespace

TEST_CASE("bursts at order 3.58 stay there while the speed doubles") {
  const double duration = 12.0;
  for (const auto& [from, to] : {std::pair{8.0, 8.0}, std::pair{6.0, 12.0}}) {
    const AngleTrack track = ramp(from, to, duration);
    const auto samples = bursts(track, 3.58, duration, 0.3);
    const EnvelopeSpectra spectra = grouped(band_spectra(samples, track, nullptr, {}), {}, Order(0.5));
    CHECK(power_at(spectra, 3.58) > 30.0);
    CHECK(power_at(spectra, 2 * 3.58) > 10.0);
    CHECK(power_at(spectra, 4.3) < 4.0);
  }
}

TEST_CASE("noise has a background of one in every group") {
  const AngleTrack track = ramp(9.0, 9.0, 15.0);
  const auto samples = bursts(track, 1.0, 15.0, 0.0);
  const EnvelopeSpectra spectra = grouped(band_spectra(samples, track, nullptr, {}), {}, Order(0.5));
  for (const GroupSpectrum& group : spectra.groups) {
    if (group.bins() == 0) continue;
    // A thousand bins of exponential noise: standard deviation of the mean 3 %, and as much of the
    // background's estimate.
    CHECK(group.mean(500, 1500) == Approx(1.0).margin(0.2));
  }
}

// Reference: scipy.signal.windows.tukey(40, 0.25, sym=False) and hann(8, sym=False), SciPy 1.10.
TEST_CASE("tapers are those of SciPy") {
  std::vector<float> flat(40, 1.0f);
  taper(flat, 40, 0.25);
  const std::vector<float> rise{0.0f, 0.0954915f, 0.3454915f, 0.6545085f, 0.9045085f, 1.0f};
  for (std::size_t i = 0; i < rise.size(); ++i) {
    CHECK(flat[i] == Approx(rise[i]).margin(1e-6));
    if (i > 0) CHECK(flat[40 - i] == Approx(rise[i]).margin(1e-6));
  }
  CHECK(*std::min_element(flat.begin() + 5, flat.begin() + 36) == 1.0f);
  std::vector<float> round(8, 1.0f);
  taper(round, 8);
  const std::vector<float> hann{0.0f, 0.14644661f, 0.5f, 0.85355339f, 1.0f, 0.85355339f, 0.5f, 0.14644661f};
  for (std::size_t i = 0; i < hann.size(); ++i) CHECK(round[i] == Approx(hann[i]).margin(1e-6));
}

// What slip smears over many bins is found among as many independent ones as there can be: the variance of a
// mean of 40 bins of noise is 1.06/40 of theirs, 1.94/40 with a Hann window (Percival and Walden 1993), and
// the background by which they are divided adds some (2.13 and 1.38 here).
TEST_CASE("the bins of an envelope's spectrum are nearly independent of each other") {
  constexpr std::size_t together = 40;
  const AngleTrack track = ramp(9.0, 9.0, 40.0);
  const auto samples = bursts(track, 1.0, 40.0, 0.0);
  const EnvelopeSpectra spectra = grouped(band_spectra(samples, track, nullptr, {}), {}, Order(0.5));
  double squares = 0.0;
  int windows = 0;
  for (const GroupSpectrum& group : spectra.groups) {
    if (group.bands != 1 || group.bins() == 0) continue;
    for (std::size_t k = 1000; k + together < 3000; k += together, ++windows) {
      const double off = group.mean(k, k + together) / group.mean(1000, 3000) - 1.0;
      squares += off * off;
    }
  }
  REQUIRE(windows > 1000);
  CHECK(squares / windows * together < 1.6);
  CHECK(squares / windows * together > 0.85);
}

TEST_CASE("known orders are replaced by the background") {
  const AngleTrack track = ramp(8.0, 8.0, 12.0);
  const auto samples = bursts(track, 4.0, 12.0, 0.3);
  const std::vector<MaskedOrder> known = {{4.0}, {8.0}};
  const EnvelopeSpectra spectra = grouped(band_spectra(samples, track, nullptr, {}), known, Order(0.5));
  CHECK(power_at(spectra, 4.0) == Approx(1.0).margin(1e-6));
  CHECK(power_at(spectra, 12.0) > 5.0);
}

TEST_CASE("a tone locked to the shaft is limited, and the noise between is left alone") {
  const double duration = 10.0;
  const AngleTrack track = ramp(7.0, 10.0, duration);
  test::Noise noise(5);
  std::vector<float> plain(static_cast<std::size_t>(duration * rate_hz)), both(plain.size());
  for (std::size_t i = 0; i < plain.size(); ++i) {
    plain[i] = static_cast<float>(0.01 * noise.gaussian());
    const double angle = track.at(static_cast<double>(i) / rate_hz);
    both[i] = plain[i] + static_cast<float>(0.3 * std::sin(2 * std::numbers::pi * 41.0 * angle));
  }
  const auto limited = limit_locked_lines(both, rate_hz, track, 3.0);
  double before = 0.0, after = 0.0, noise_power = 0.0;
  for (std::size_t i = 2000; i + 2000 < plain.size(); ++i) {
    before += static_cast<double>(both[i] * both[i]);
    after += static_cast<double>(limited[i] * limited[i]);
    noise_power += static_cast<double>(plain[i] * plain[i]);
  }
  CHECK(after < 0.01 * before);
  CHECK(after == Approx(noise_power).epsilon(0.15));
}

TEST_CASE(
    "times of equal angle asked for in pieces, each from a little before the last, are those of the whole") {
  AngleTrack track = ramp(6.0, 11.0, 4.0);
  std::fill(track.turns.begin() + 30, track.turns.begin() + 40, track.turns[30]);  // stands for half a second
  const double first = track.at(0.0) - 0.5, step = (track.at(4.0) - first) / 5000.0;
  std::vector<double> all(5200);
  TimesOfEqualAngle(track, first, step)(0, all);
  for (std::size_t i = 0; i < all.size(); ++i) {
    const double at = all[i] / track.step_s;
    const auto cell =
        static_cast<std::size_t>(std::clamp(at, 0.0, static_cast<double>(track.turns.size() - 2)));
    const double here = track.turns[cell], rise = track.turns[cell + 1] - here;  // straight in between
    REQUIRE(here + (at - static_cast<double>(cell)) * rise ==
            Approx(first + step * static_cast<double>(i)).margin(1e-9));
  }
  TimesOfEqualAngle times(track, first, step);
  std::vector<double> some(300);
  for (std::size_t from = 0; from + some.size() <= all.size(); from += 298) {
    times(from, some);
    for (std::size_t i = 0; i < some.size(); ++i) REQUIRE(some[i] == all[from + i]);
  }
}

TEST_CASE("spectra grouped as they are made are those of bands held as a whole") {
  const AngleTrack track = ramp(6.0, 9.0, 8.0), engine = ramp(20.0, 30.0, 8.0);
  const auto samples = bursts(track, 3.58, 8.0, 0.3);
  const std::vector<Masking> both = {{{{3.0}, {7.0}}, Order(1.35)}, {{{5.0}}, Order(0.2)}};
  const auto held = grouped(band_spectra(samples, track, &engine, {}), both);
  const auto at_once = grouped(samples, track, &engine, {}, both);
  REQUIRE(at_once.size() == held.size());
  for (std::size_t m = 0; m < held.size(); ++m) {
    CHECK(at_once[m].turns == held[m].turns);
    CHECK(at_once[m].mean_rate == held[m].mean_rate);
    CHECK(at_once[m].masked == held[m].masked);
    REQUIRE(at_once[m].groups.size() == held[m].groups.size());
    for (std::size_t g = 0; g < held[m].groups.size(); ++g) {
      const GroupSpectrum &one = at_once[m].groups[g], &other = held[m].groups[g];
      REQUIRE(one.bins() == other.bins());
      CHECK(one.effective_bands == other.effective_bands);
      for (std::size_t from = 0; from + 20 < one.bins(); from += 20)
        REQUIRE(one.mean(from, from + 20) == other.mean(from, from + 20));
    }
  }
}

TEST_CASE("a tone at order 57 is one line in the spectrum per turn, whatever the speed does") {
  const double duration = 10.0;
  const AngleTrack track = ramp(6.0, 11.0, duration);
  test::Noise noise(6);
  std::vector<float> samples(static_cast<std::size_t>(duration * rate_hz));
  for (std::size_t i = 0; i < samples.size(); ++i)
    samples[i] = static_cast<float>(
        0.05 * noise.gaussian() +
        0.05 * std::sin(2 * std::numbers::pi * 57.0 * track.at(static_cast<double>(i) / rate_hz)));
  const OrderSpectrum spectrum = order_spectrum(samples, rate_hz, track);
  CHECK(spectrum.line_excess(57.0, spectrum.usual_half_width(57.0)) > 1000.0);
  CHECK(spectrum.line_excess(55.0, spectrum.usual_half_width(55.0)) < 40.0);
}
