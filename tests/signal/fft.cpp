// Transforms against FFTW 3 in double precision, and against what the mathematics demands.
#include "gearhark/signal/fft.hpp"

#include <fftw3.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <numeric>

#include "../../src/signal/wide/wide.hpp"
#include "../noise.hpp"

using namespace gearhark;
using test::noise;

namespace {

using Bins = std::vector<std::complex<float>>;
using Exact = std::vector<std::complex<double>>;

Bins complex_noise(std::size_t count, unsigned seed) {
  const auto parts = noise(2 * count, seed);
  Bins out(count);
  for (std::size_t i = 0; i < count; ++i) out[i] = {parts[2 * i], parts[2 * i + 1]};
  return out;
}

fftw_complex* raw(Exact& values) { return reinterpret_cast<fftw_complex*>(values.data()); }

Exact fftw_real(std::span<const float> time) {
  std::vector<double> in(time.begin(), time.end());
  Exact out(time.size() / 2 + 1);
  const auto plan = fftw_plan_dft_r2c_1d(static_cast<int>(in.size()), in.data(), raw(out), FFTW_ESTIMATE);
  fftw_execute(plan);
  fftw_destroy_plan(plan);
  return out;
}

Exact fftw_complex_transform(const Bins& time, int direction) {
  Exact in(time.begin(), time.end()), out(time.size());
  const auto plan =
      fftw_plan_dft_1d(static_cast<int>(in.size()), raw(in), raw(out), direction, FFTW_ESTIMATE);
  fftw_execute(plan);
  fftw_destroy_plan(plan);
  return out;
}

// Root mean square of the difference over that of the reference.
template <class Got, class Wanted>
double error(const Got& got, const Wanted& wanted) {
  double wrong = 0.0, right = 0.0;
  for (std::size_t i = 0; i < wanted.size(); ++i) {
    wrong += std::norm(std::complex<double>(got[i]) - std::complex<double>(wanted[i]));
    right += std::norm(std::complex<double>(wanted[i]));
  }
  return std::sqrt(wrong / right);
}

constexpr double tolerance = 5e-7;  // some eps_float sqrt(log N)

struct WithWidth {
  explicit WithWidth(Width width) { set_width(width); }
  ~WithWidth() { set_width(Width::widest); }
};

}  // namespace

TEST_CASE("good lengths are even, made of 2, 3 and 5, and never below what was asked") {
  CHECK(good_length(0) == 2);
  CHECK(good_length(1) == 2);
  CHECK(good_length(7) == 8);
  CHECK(good_length(937) == 960);
  CHECK(good_length(1024) == 1024);
  CHECK(good_length(2097153) % 128 == 0);
  for (std::size_t n = 1; n < 300000; n += 997) {
    const std::size_t length = good_length(n);
    CHECK(length >= n);
    CHECK(length % 2 == 0);
    CHECK(good_length(length) == length);
    CHECK(static_cast<double>(length) < 1.17 * static_cast<double>(n) + 4.0);
  }
}

TEST_CASE("real transforms equal FFTW's, forward and back, for short and long lengths") {
  for (const std::size_t n : {2u, 4u, 6u, 10u, 30u, 64u, 100u, 960u, 1024u, 16384u, 32768u, 48600u, 65536u,
                              81920u, 184320u, 1u << 18}) {
    INFO("length " << n);
    const auto time = noise(n, static_cast<unsigned>(n));
    const auto wanted = fftw_real(time);
    const RealFft fft(n);
    Bins bins(n / 2 + 1);
    fft.forward(time, bins);
    CHECK(error(bins, wanted) < tolerance);
    std::vector<float> back(n);
    fft.inverse(bins, back);
    CHECK(error(back, time) < tolerance);
  }
}

// The largest difference over the root mean square of the reference. Errors of rounding are nearly Gaussian:
// of a million the largest is some five to six times their root mean square.
template <class Got, class Wanted>
double worst_error(const Got& got, const Wanted& wanted) {
  double worst = 0.0, right = 0.0;
  for (std::size_t i = 0; i < wanted.size(); ++i) {
    worst = std::max(worst, std::abs(std::complex<double>(got[i]) - std::complex<double>(wanted[i])));
    right += std::norm(std::complex<double>(wanted[i]));
  }
  return worst / std::sqrt(right / static_cast<double>(wanted.size()));
}

TEST_CASE("no bin of a long real transform is off, whatever its length and the instruction set") {
  // Rows an odd or even multiple of 8, odd factors, few columns left over, a minute at 44.1 kHz.
  for (const std::size_t n : {34560u, 80000u, 97200u * 2u, 1296000u, 1u << 20, 2654208u})
    for (const Width width : {Width::widest, Width::avx2, Width::baseline}) {
      INFO("length " << n);
      const WithWidth with(width);
      const auto time = noise(n, static_cast<unsigned>(n) + 1);
      const auto wanted = fftw_real(time);
      const RealFft fft(n);
      Bins bins(n / 2 + 1);
      fft.forward(time, bins);
      CHECK(error(bins, wanted) < tolerance);
      CHECK(worst_error(bins, wanted) < 6.0 * tolerance);
      std::vector<float> power(bins.size());
      fft.power(time, power);
      for (std::size_t k = 0; k < power.size(); ++k)
        if (std::abs(power[k] - std::norm(bins[k])) > 1e-6f * (power[k] + static_cast<float>(n)))
          FAIL("power of bin " << k);
      CHECK(bins.front().imag() == 0.0f);
      CHECK(bins.back().imag() == 0.0f);
      std::vector<float> back(n);
      fft.inverse(bins, back);
      CHECK(worst_error(back, time) < 6.0 * tolerance);
    }
}

TEST_CASE("a tone in a long real transform stands in its bin alone, even in those that are their own mates") {
  // 2 x 320 x 400: the transform of rows and columns has rows of its own for the first and the middle bins.
  const std::size_t n = 256000;
  const RealFft fft(n);
  for (const std::size_t bin : {std::size_t{0}, std::size_t{1}, std::size_t{160}, std::size_t{320}, n / 4,
                                n / 2 - 320, n / 2 - 1, n / 2}) {
    INFO("bin " << bin);
    std::vector<float> time(n);
    for (std::size_t i = 0; i < n; ++i)
      time[i] = static_cast<float>(
          std::cos(2.0 * M_PI * static_cast<double>(i * bin % n) / static_cast<double>(n)));
    Bins bins(n / 2 + 1);
    fft.forward(time, bins);
    const float whole = static_cast<float>(bin == 0 || bin == n / 2 ? n : n / 2);
    for (std::size_t k = 0; k < bins.size(); ++k) {
      const float off = std::abs(bins[k] - (k == bin ? whole : 0.0f));
      if (off > 2e-6f * whole) FAIL("bin " << k << " off by " << off / whole);
    }
  }
}

TEST_CASE("complex transforms equal FFTW's, forward and back, for short and long lengths") {
  for (const std::size_t n : {1u, 3u, 5u, 15u, 64u, 1000u, 4096u, 16384u, 34560u, 64000u, 65536u, 1u << 19}) {
    INFO("length " << n);
    const auto time = complex_noise(n, static_cast<unsigned>(n));
    const Fft fft(n);
    Bins bins(n), back(n);
    fft.forward(time, bins);
    CHECK(error(bins, fftw_complex_transform(time, FFTW_FORWARD)) < tolerance);
    fft.inverse(bins, back);
    CHECK(error(back, time) < tolerance);
  }
}

TEST_CASE("a whole recording of 2^21 samples keeps its energy (Parseval) and comes back") {
  const std::size_t n = 1u << 21;
  const auto time = noise(n, 9);
  const RealFft fft(n);
  Bins bins(n / 2 + 1);
  fft.forward(time, bins);
  double in_time = 0.0, in_bins = 0.0;
  for (const float x : time) in_time += static_cast<double>(x) * static_cast<double>(x);
  for (std::size_t k = 0; k < bins.size(); ++k)
    in_bins += (k == 0 || k == n / 2 ? 1.0 : 2.0) * static_cast<double>(std::norm(bins[k]));
  CHECK(in_bins / static_cast<double>(n) == Approx(in_time).epsilon(1e-5));
  std::vector<float> back(n);
  fft.inverse(bins, back);
  CHECK(error(back, time) < tolerance);
}

TEST_CASE("frames side by side have the spectra FFTW finds one by one, whatever the instruction set") {
  for (const auto width : {Width::widest, Width::avx2, Width::baseline}) {
    const WithWidth with(width);
    for (const std::size_t n : {2u, 6u, 10u, 64u, 90u, 500u, 512u, 1536u, 4096u, 16384u}) {
      for (const std::size_t used : {n, n - n / 3}) {
        INFO("length " << n << ", " << used << " used, width " << static_cast<int>(width));
        std::vector<float> weights(used);
        for (std::size_t i = 0; i < used; ++i) weights[i] = 1.0f + 0.5f * static_cast<float>(i % 7);
        const std::size_t hop = used / 2 + 1, count = n % 4 == 0 ? 16 : 7;
        const auto samples = noise((count - 1) * hop + used, static_cast<unsigned>(n));
        const FrameFft fft(weights, n);
        Bins bins(count * fft.bins());
        fft.forward(samples, hop, count, bins);
        std::vector<float> power(fft.bins(), 1.0f);
        fft.add_power(samples, hop, count, power);
        std::vector<double> wanted_power(fft.bins(), 1.0);
        for (std::size_t f = 0; f < count; ++f) {
          std::vector<float> frame(n, 0.0f);
          for (std::size_t i = 0; i < used; ++i) frame[i] = samples[f * hop + i] * weights[i];
          const auto wanted = fftw_real(frame);
          CHECK(error(std::span(bins).subspan(f * fft.bins(), fft.bins()), wanted) < tolerance);
          for (std::size_t k = 0; k < wanted.size(); ++k) wanted_power[k] += std::norm(wanted[k]);
        }
        CHECK(error(power, wanted_power) < 2e-6);
      }
    }
  }
}

TEST_CASE(
    "sums of powers over all frames are those of the frames one by one, whatever their number and hop") {
  for (const Width width : {Width::widest, Width::avx2, Width::baseline}) {
    const WithWidth with(width);
    for (const std::size_t samples : {60u, 64u, 700u, 9000u, 100000u})
      for (const std::size_t hop : {7u, 32u, 64u}) {
        INFO(samples << " samples, hop " << hop);
        const auto time = noise(samples, 11);
        const std::size_t frames = samples < 64 ? 0 : (samples - 64) / hop + 1;
        const FrameFft fft(std::vector<float>(64, 1.0f), 80);
        std::vector<double> second(fft.bins(), 0.0), fourth(fft.bins(), 0.0);
        std::vector<double> wanted_second(fft.bins(), 0.0), wanted_fourth(fft.bins(), 0.0);
        fft.add_moments(time, hop, second, fourth);
        for (std::size_t f = 0; f < frames; ++f) {
          std::vector<float> padded(80, 0.0f);
          std::copy_n(time.begin() + static_cast<std::ptrdiff_t>(f * hop), 64, padded.begin());
          const auto bins = fftw_real(padded);
          for (std::size_t k = 0; k < bins.size(); ++k) {
            wanted_second[k] += std::norm(bins[k]);
            wanted_fourth[k] += std::norm(bins[k]) * std::norm(bins[k]);
          }
        }
        for (std::size_t k = 0; k < fft.bins(); ++k) {
          // Faint bins have the rounding of the strong ones: 64 is a frame's power.
          const double power = 64.0 * static_cast<double>(frames);
          CHECK(second[k] == Approx(wanted_second[k]).epsilon(2e-6).margin(2e-6 * power));
          CHECK(fourth[k] == Approx(wanted_fourth[k]).epsilon(4e-6).margin(4e-6 * 64.0 * power));
        }
      }
  }
}

TEST_CASE("long transforms do not depend on the instruction set") {
  const WithWidth with(Width::baseline);
  const auto time = noise(1u << 17, 5);
  Bins bins(time.size() / 2 + 1);
  RealFft(time.size()).forward(time, bins);
  CHECK(error(bins, fftw_real(time)) < tolerance);
}
