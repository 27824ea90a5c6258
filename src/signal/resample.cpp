#include "gearhark/signal/resample.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <map>
#include <mutex>
#include <numbers>

#include "gearhark/signal/windows.hpp"
#include "wide/wide.hpp"

namespace gearhark {
namespace {

constexpr std::size_t lanes = 8;     // taps come in multiples of this
constexpr double beta = 9.5;         // Kaiser: 95 dB stop band
constexpr std::size_t phases = 512;  // rows of an interpolated table per sample

double sinc(double x) {
  return std::abs(x) < 1e-9 ? 1.0 : std::sin(std::numbers::pi * x) / (std::numbers::pi * x);
}

// A low-pass at `cutoff` cycles per sample (-6 dB). Row r weighs the samples round position whole + r / rows;
// tap k of it belongs to sample whole + k - (taps/2 - 1).
struct Kernel {
  std::size_t taps, rows;
  std::vector<float> weights;  // (rows + 1) x taps, so that row r + 1 always exists
  [[nodiscard]] const float* row(std::size_t r) const { return weights.data() + r * taps; }
};

Kernel make_kernel(double half_width, double cutoff, std::size_t rows) {
  const auto half = static_cast<std::size_t>(std::ceil(half_width));
  Kernel kernel{(2 * half + lanes - 1) / lanes * lanes, rows, {}};
  kernel.weights.resize((rows + 1) * kernel.taps);
  const double before = static_cast<double>(kernel.taps / 2) - 1.0;
  for (std::size_t r = 0; r <= rows; ++r) {
    float* out = kernel.weights.data() + r * kernel.taps;
    for (std::size_t k = 0; k < kernel.taps; ++k) {
      const double u = static_cast<double>(k) - before - static_cast<double>(r) / static_cast<double>(rows);
      out[k] = static_cast<float>(2.0 * cutoff * sinc(2.0 * cutoff * u) * kaiser(u / half_width, beta));
    }
  }
  return kernel;
}

// The samples with silence on both sides, so that no kernel meets an edge.
struct Padded {
  Padded(std::span<const float> samples, std::size_t most_taps)
      : pad(most_taps), held(samples.size() + 2 * most_taps) {
    std::copy(samples.begin(), samples.end(), held.begin() + static_cast<std::ptrdiff_t>(pad));
  }
  // First sample under a kernel for sample `whole` of `held`.
  [[nodiscard]] const float* under(const Kernel& kernel, std::size_t whole) const {
    return held.data() + whole - (kernel.taps / 2 - 1);
  }
  std::size_t pad;
  std::vector<float> held;
};

float value_at(const Padded& samples, double position, const Kernel& kernel, const Wide& loops) {
  const double at = position + static_cast<double>(samples.pad);
  const auto reach = static_cast<double>(kernel.taps / 2);
  if (!(at > reach && at < static_cast<double>(samples.held.size()) - reach - 1.0)) return 0.0f;
  const auto whole = static_cast<std::size_t>(at);
  const double fine = (at - static_cast<double>(whole)) * static_cast<double>(kernel.rows);
  const auto row = static_cast<std::size_t>(fine);
  const auto part = static_cast<float>(fine - static_cast<double>(row));
  return loops.dot_between(samples.under(kernel, whole), kernel.row(row), kernel.row(row + 1), part,
                           kernel.taps);
}

// Kernels of resample_at(), one per eighth of an octave of stretch, made when first needed and kept.
class StretchedKernels {
 public:
  static constexpr int steps_per_octave = 8;
  static constexpr int widest = 5 * steps_per_octave;
  // The kernel for times `spacing` samples apart.
  const Kernel& for_spacing(double spacing) {
    if (!last_ || !(spacing > more_than_ && spacing <= up_to_)) {
      const int step = spacing <= unstretched
                           ? 0
                           : std::min(widest, static_cast<int>(std::ceil(steps_per_octave * std::log2(spacing))));
      more_than_ = step == 0 ? -1.0 : std::max(unstretched, std::exp2((step - 0.999999) / steps_per_octave));
      up_to_ = step == 0        ? unstretched
               : step == widest ? HUGE_VAL
                                : std::exp2((step - 0.000001) / steps_per_octave);
      last_ = &kept(step);
    }
    return *last_;
  }
  static std::size_t most_taps() { return 2 * 16 * (1u << (widest / steps_per_octave)) + lanes; }

 private:
  static constexpr double unstretched = 1.0 + 1e-6;
  static const Kernel& kept(int step) {
    static std::mutex guard;
    static std::map<int, Kernel> kernels;
    const std::lock_guard lock(guard);
    const auto found = kernels.find(step);
    if (found != kernels.end()) return found->second;
    const double stretch = std::exp2(static_cast<double>(step) / steps_per_octave);
    return kernels.emplace(step, make_kernel(16.0 * stretch, 0.5 / stretch, phases)).first->second;
  }
  const Kernel* last_ = nullptr;
  double more_than_ = 0.0, up_to_ = 0.0;  // spacings that last_ is for
};

// Distance in samples to the nearer neighbour in time: a jump in the times stretches nothing.
double spacing_at(std::span<const double> times, std::size_t i, double rate_hz) {
  const double before = i > 0 ? std::abs(times[i] - times[i - 1]) : HUGE_VAL;
  const double after = i + 1 < times.size() ? std::abs(times[i + 1] - times[i]) : HUGE_VAL;
  const double nearer = std::min(before, after);
  return nearer == HUGE_VAL ? 1.0 : nearer * rate_hz;
}

// The low-pass of resample() for a lower rate that is `ratio` (<= 1) of the input rate.
Kernel rate_kernel(double ratio, std::size_t rows) { return make_kernel(32.0 / ratio, 0.46 * ratio, rows); }

// up / down = to / from in whole numbers where such exist with few enough rows; otherwise up = 0.
struct Ratio {
  std::size_t up, down;
};
Ratio whole_ratio(double from_hz, double to_hz) {
  constexpr double most_rows = 1024.0;
  for (double up = 1.0; up <= most_rows; up += 1.0) {
    const double down = up * from_hz / to_hz;
    if (std::abs(down - std::round(down)) < 1e-9 * down)
      return {static_cast<std::size_t>(up), static_cast<std::size_t>(std::lround(down))};
  }
  return {0, 0};
}

// Each output falls on a row of the table: one dot product.
std::vector<float> resample_by(std::span<const float> samples, Ratio ratio) {
  const double less = std::min(1.0, static_cast<double>(ratio.up) / static_cast<double>(ratio.down));
  const Kernel kernel = rate_kernel(less, ratio.up);
  const Padded padded(samples, kernel.taps);
  std::vector<float> out(samples.size() * ratio.up / ratio.down);
  for (std::size_t i = 0; i < out.size(); ++i) {
    const std::size_t at = i * ratio.down;
    out[i] =
        wide().dot(padded.under(kernel, padded.pad + at / ratio.up), kernel.row(at % ratio.up), kernel.taps);
  }
  return out;
}

}  // namespace

std::vector<float> resample_at(std::span<const float> samples, double rate_hz,
                               std::span<const double> times) {
  StretchedKernels kernels;
  const Wide& loops = wide();
  const Padded padded(samples, StretchedKernels::most_taps());
  std::vector<float> out(times.size());
  for (std::size_t i = 0; i < times.size(); ++i)
    out[i] = value_at(padded, times[i] * rate_hz, kernels.for_spacing(spacing_at(times, i, rate_hz)), loops);
  return out;
}

std::vector<float> resample(std::span<const float> samples, double from_hz, double to_hz) {
  assert(from_hz > 0.0 && to_hz > 0.0);
  if (from_hz == to_hz) return {samples.begin(), samples.end()};
  if (const Ratio ratio = whole_ratio(from_hz, to_hz); ratio.up > 0) return resample_by(samples, ratio);
  const Kernel kernel = rate_kernel(std::min(1.0, to_hz / from_hz), phases);
  const Padded padded(samples, kernel.taps);
  std::vector<float> out(static_cast<std::size_t>(static_cast<double>(samples.size()) * to_hz / from_hz));
  for (std::size_t i = 0; i < out.size(); ++i)
    out[i] = value_at(padded, static_cast<double>(i) * from_hz / to_hz, kernel, wide());
  return out;
}

std::vector<float> decimate(std::span<const float> samples, std::size_t factor) {
  assert(factor >= 1);
  return factor == 1 ? std::vector<float>(samples.begin(), samples.end()) : resample_by(samples, {1, factor});
}

}  // namespace gearhark
