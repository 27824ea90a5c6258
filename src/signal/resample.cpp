#include "gearhark/signal/resample.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace gearhark {
namespace {

constexpr int phases = 512;  // table rows per sample; between rows the kernel is interpolated linearly
constexpr double kaiser_beta = 9.5;  // -95 dB stop band

double bessel_i0(double x) {
  double sum = 1.0, term = 1.0;
  for (int k = 1; k < 40; ++k) {
    term *= (x / (2.0 * k)) * (x / (2.0 * k));
    sum += term;
  }
  return sum;
}

// Rows of an ideal low-pass at `cutoff` cycles per sample, windowed to `taps` samples.
struct Kernel {
  int taps;
  std::vector<float> rows;  // (phases + 1) x taps
};

Kernel make_kernel(int taps, double cutoff) {
  Kernel kernel{taps, std::vector<float>(static_cast<std::size_t>((phases + 1) * taps))};
  const int half = taps / 2;
  for (int phase = 0; phase <= phases; ++phase)
    for (int k = 0; k < taps; ++k) {
      const double u = k - (half - 1) - static_cast<double>(phase) / phases;
      const double x = 2.0 * cutoff * u;
      const double sinc = std::abs(x) < 1e-12 ? 1.0 : std::sin(std::numbers::pi * x) / (std::numbers::pi * x);
      const double edge = u / half;
      const double window = std::abs(edge) >= 1.0 ? 0.0
                                                  : bessel_i0(kaiser_beta * std::sqrt(1.0 - edge * edge)) /
                                                        bessel_i0(kaiser_beta);
      kernel.rows[static_cast<std::size_t>(phase * taps + k)] =
          static_cast<float>(2.0 * cutoff * sinc * window);
    }
  return kernel;
}

float value_at(std::span<const float> samples, double position, const Kernel& kernel) {
  const double whole = std::floor(position);
  const double fine = (position - whole) * phases;
  const int row = static_cast<int>(fine);
  const auto part = static_cast<float>(fine - row);
  const float* a = kernel.rows.data() + static_cast<std::ptrdiff_t>(row) * kernel.taps;
  const float* b = row < phases ? a + kernel.taps : a;
  const auto first = static_cast<std::ptrdiff_t>(whole) - (kernel.taps / 2 - 1);
  const auto count = static_cast<std::ptrdiff_t>(samples.size());
  float sum_a = 0.0f, sum_b = 0.0f;
  if (first >= 0 && first + kernel.taps <= count) {
    const float* x = samples.data() + first;
    for (int k = 0; k < kernel.taps; ++k) {
      sum_a += a[k] * x[k];
      sum_b += b[k] * x[k];
    }
  } else {
    for (int k = 0; k < kernel.taps; ++k) {
      const std::ptrdiff_t i = first + k;
      if (i < 0 || i >= count) continue;
      sum_a += a[k] * samples[static_cast<std::size_t>(i)];
      sum_b += b[k] * samples[static_cast<std::size_t>(i)];
    }
  }
  return sum_a + part * (sum_b - sum_a);
}

}  // namespace

std::vector<float> resample_at(std::span<const float> samples, double rate_hz,
                               std::span<const double> times) {
  static const Kernel kernel = make_kernel(48, 0.5);
  std::vector<float> out(times.size());
  for (std::size_t i = 0; i < times.size(); ++i) out[i] = value_at(samples, times[i] * rate_hz, kernel);
  return out;
}

std::vector<float> resample(std::span<const float> samples, double from_hz, double to_hz) {
  if (from_hz == to_hz) return {samples.begin(), samples.end()};
  const double ratio = std::min(1.0, to_hz / from_hz);
  const int taps = 2 * static_cast<int>(std::ceil(32.0 / ratio));
  const Kernel kernel = make_kernel(taps, 0.46 * ratio);
  std::vector<float> out(
      static_cast<std::size_t>(std::floor(static_cast<double>(samples.size()) * to_hz / from_hz)));
  for (std::size_t i = 0; i < out.size(); ++i)
    out[i] = value_at(samples, static_cast<double>(i) * from_hz / to_hz, kernel);
  return out;
}

}  // namespace gearhark
