#include "gearhark/signal/resample.hpp"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <limits>
#include <map>
#include <mutex>
#include <numbers>

#include "gearhark/signal/windows.hpp"
#include "wide/wide.hpp"

namespace gearhark {
namespace {

constexpr double beta = 9.5;         // Kaiser: 95 dB stop band
constexpr std::size_t phases = 256;  // rows of an interpolated table per sample

double sinc(double x) {
  return std::abs(x) < 1e-9 ? 1.0 : std::sin(std::numbers::pi * x) / (std::numbers::pi * x);
}

// A low-pass at `cutoff` cycles per sample (-6 dB). Row r weighs the samples round position whole + r / rows;
// tap k of it belongs to sample whole + k - (taps/2 - 1).
struct Kernel {
  std::size_t taps, rows;
  AlignedFloats weights;  // behind each row, by how much the next is more
  [[nodiscard]] const float* row(std::size_t r) const { return weights.data() + 2 * r * taps; }
};

Kernel make_kernel(double half_width, double cutoff, std::size_t rows) {
  const auto half = static_cast<std::size_t>(std::ceil(half_width));
  const std::size_t lanes = wide().tap_lanes, taps = (2 * half + lanes - 1) / lanes * lanes;
  Kernel kernel{taps, rows, AlignedFloats(2 * rows * taps)};
  const double before = static_cast<double>(kernel.taps / 2) - 1.0;
  const Kaiser window(beta);
  for (std::size_t k = 0; k < taps; ++k) {
    double last = 0.0;
    for (std::size_t r = 0; r <= rows; ++r) {
      const double u = static_cast<double>(k) - before - static_cast<double>(r) / static_cast<double>(rows);
      const double weight = 2.0 * cutoff * sinc(2.0 * cutoff * u) * window(u / half_width);
      float* out = kernel.weights.data() + 2 * r * taps + k;
      if (r > 0) *(out - taps) = static_cast<float>(weight - last);
      if (r < rows) *out = static_cast<float>(weight);
      last = weight;
    }
  }
  return kernel;
}

// Samples with silence beyond the ends.
class Samples {
 public:
  explicit Samples(std::span<const float> all) : all_(all) {
    assert(all.size() < std::numeric_limits<int>::max());
  }
  // Positions at which all samples under a kernel exist: from <= position <= to. No such: from > to.
  struct Clear {
    double from, to;
  };
  [[nodiscard]] Clear clear(const Kernel& kernel) const {
    const auto reach = static_cast<double>(kernel.taps / 2);
    return {reach - 1.0, static_cast<double>(all_.size()) - reach - 1.0};
  }
  // First sample under a kernel at `whole`, all of which exist.
  [[nodiscard]] const float* under(const Kernel& kernel, std::size_t whole) const {
    return all_.data() + whole - (kernel.taps / 2 - 1);
  }
  // The samples under a kernel at `whole`, wherever that is.
  [[nodiscard]] std::vector<float> about(const Kernel& kernel, long whole) const {
    std::vector<float> out(kernel.taps, 0.0f);
    const long first = whole - static_cast<long>(kernel.taps / 2 - 1);
    for (std::size_t k = 0; k < out.size(); ++k) {
      const long at = first + static_cast<long>(k);
      if (at >= 0 && at < static_cast<long>(all_.size())) out[k] = all_[static_cast<std::size_t>(at)];
    }
    return out;
  }
  [[nodiscard]] const float* data() const { return all_.data(); }
  [[nodiscard]] double size() const { return static_cast<double>(all_.size()); }

 private:
  std::span<const float> all_;
};

// Reads moments (seconds) at which all samples under the kernel exist.
void read_clear(const Kernel& kernel, const Samples& samples, double rate_hz, std::span<const double> times,
                float* out) {
  wide().read_between(samples.data(), times.data(), rate_hz, -static_cast<double>(kernel.taps / 2 - 1),
                      times.size(), kernel.weights.data(), kernel.taps, kernel.rows, out);
}

float read_anywhere(const Kernel& kernel, const Samples& samples, double position) {
  const auto reach = static_cast<double>(kernel.taps / 2);
  if (!(position > -reach && position < samples.size() + reach)) return 0.0f;
  const double whole = std::floor(position), part = position - whole;
  const std::vector<float> near = samples.about(kernel, static_cast<long>(whole));
  float out = 0.0f;
  wide().read_between(near.data(), &part, 1.0, 0.0, 1, kernel.weights.data(), kernel.taps, kernel.rows, &out);
  return out;
}

// Kernels of resample_at(), one per eighth of an octave of stretch, made when first needed and kept.
class StretchedKernels {
 public:
  static constexpr int steps_per_octave = 8;
  static constexpr int widest = 5 * steps_per_octave;
  // The kernel for times `spacing` samples apart.
  const Kernel& for_spacing(double spacing) {
    if (!last_ || !(spacing > more_than_ && spacing <= up_to_)) {
      const int step =
          spacing <= unstretched
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
  // The spacings that the last kernel is for.
  [[nodiscard]] double more_than() const { return more_than_; }
  [[nodiscard]] double up_to() const { return up_to_; }

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
  return nearer < HUGE_VAL ? nearer * rate_hz : 1.0;  // not for moments that are no numbers either
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

// Outputs that read existing samples alone: first..end-1.
struct ClearOutputs {
  std::size_t first, end;
};
ClearOutputs clear_outputs(const Kernel& kernel, const Samples& samples, Ratio ratio, std::size_t outputs) {
  const auto [from, to] = samples.clear(kernel);
  if (from > to) return {0, 0};
  const auto first = (static_cast<std::size_t>(from) * ratio.up + ratio.down - 1) / ratio.down;
  const std::size_t end = std::min(outputs, static_cast<std::size_t>(to) * ratio.up / ratio.down + 1);
  return first < end ? ClearOutputs{first, end} : ClearOutputs{0, 0};
}

// Each output falls on a row of the table, every `up`-th on the same: a block of them shares its weights.
std::vector<float> resample_by(std::span<const float> input, Ratio ratio) {
  const double less = std::min(1.0, static_cast<double>(ratio.up) / static_cast<double>(ratio.down));
  const Kernel kernel = rate_kernel(less, ratio.up);
  const Samples samples(input);
  std::vector<float> out(input.size() * ratio.up / ratio.down);
  const auto [first, end] = clear_outputs(kernel, samples, ratio, out.size());
  for (std::size_t i = 0; i < out.size(); ++i) {
    if (i == first && end > first) i = end;
    if (i >= out.size()) break;
    const std::size_t at = i * ratio.down;
    const std::vector<float> near = samples.about(kernel, static_cast<long>(at / ratio.up));
    wide().sliding_dots(near.data(), 0, 1, kernel.row(at % ratio.up), kernel.taps, &out[i], 1);
  }
  const std::size_t block = ratio.up == 1 ? out.size() : 16 * ratio.up;  // what it reads stays in the cache
  for (std::size_t from = first; from < end; from += block)
    for (std::size_t i = from; i < std::min(from + ratio.up, end); ++i) {
      const std::size_t at = i * ratio.down, to = std::min(from + block, end);
      wide().sliding_dots(samples.under(kernel, at / ratio.up), ratio.down, (to - i - 1) / ratio.up + 1,
                          kernel.row(at % ratio.up), kernel.taps, out.data() + i, ratio.up);
    }
  return out;
}

constexpr std::size_t at_once = 512;  // moments looked at together

// Moments near the recording's ends, or spaced so unevenly that they need several kernels: times[first] and
// those behind it, to `out` from its start on.
void read_by_runs(StretchedKernels& kernels, const Samples& samples, double rate_hz,
                  std::span<const double> times, std::size_t first, std::size_t count, float* out) {
  std::size_t held = 0;  // moments before i that one kernel does for and that are clear of the ends
  const Kernel* kernel = nullptr;
  for (std::size_t i = first; i < first + count; ++i) {
    const Kernel& wanted = kernels.for_spacing(spacing_at(times, i, rate_hz));
    const auto [from, to] = samples.clear(wanted);
    const double position = times[i] * rate_hz;
    const bool clear = position >= from + 0.5 && position <= to - 0.5;
    if (held > 0 && (!clear || &wanted != kernel)) {
      read_clear(*kernel, samples, rate_hz, times.subspan(i - held, held), out + (i - first) - held);
      held = 0;
    }
    kernel = &wanted;
    if (clear)
      ++held;
    else
      out[i - first] = read_anywhere(wanted, samples, position);
  }
  const std::size_t end = first + count;
  if (held > 0) read_clear(*kernel, samples, rate_hz, times.subspan(end - held, held), out + count - held);
}

// Whether one kernel does for all of these moments and finds samples everywhere. Bounds are drawn in by more
// than rounding can be.
bool alike(const StretchedKernels& kernels, const Kernel& kernel, const Samples& samples, double rate_hz,
           std::span<const double> times) {
  const auto [from, to] = samples.clear(kernel);
  return wide().within(times.data(), times.size(), (from + 0.5) / rate_hz, (to - 0.5) / rate_hz,
                       kernels.more_than() * (1.0 + 1e-12) / rate_hz,
                       kernels.up_to() * (1.0 - 1e-12) / rate_hz);
}

}  // namespace

std::vector<float> resample_at(std::span<const float> input, double rate_hz, std::span<const double> times) {
  std::vector<float> out(times.size());
  resample_at(input, rate_hz, times, out);
  return out;
}

void resample_at(std::span<const float> input, double rate_hz, std::span<const double> times,
                 std::span<float> out) {
  assert(out.size() == times.size());
  const auto copied = [&](std::size_t first, std::span<double> some) {
    std::copy_n(times.begin() + static_cast<std::ptrdiff_t>(first), some.size(), some.begin());
  };
  resample_at(input, rate_hz, copied, out);
}

void resample_at(std::span<const float> input, double rate_hz, const TimesFrom& times_from,
                 std::span<float> out) {
  StretchedKernels kernels;
  const Samples samples(input);
  std::array<double, at_once + 2> held{};  // with a neighbour on either side
  for (std::size_t first = 0; first < out.size(); first += at_once) {
    const std::size_t count = std::min(at_once, out.size() - first);
    const std::size_t before = first > 0 ? 1 : 0, after = first + count < out.size() ? 1 : 0;
    const std::span<double> times = std::span(held).first(before + count + after);
    times_from(first - before, times);
    const Kernel& kernel = kernels.for_spacing(spacing_at(times, before, rate_hz));
    if (alike(kernels, kernel, samples, rate_hz, times))
      read_clear(kernel, samples, rate_hz, times.subspan(before, count), out.data() + first);
    else
      read_by_runs(kernels, samples, rate_hz, times, before, count, out.data() + first);
  }
}

std::vector<float> resample(std::span<const float> input, double from_hz, double to_hz) {
  assert(from_hz > 0.0 && to_hz > 0.0);
  if (from_hz == to_hz) return {input.begin(), input.end()};
  if (const Ratio ratio = whole_ratio(from_hz, to_hz); ratio.up > 0) return resample_by(input, ratio);
  const Kernel kernel = rate_kernel(std::min(1.0, to_hz / from_hz), phases);
  const Samples samples(input);
  const auto [from, to] = samples.clear(kernel);
  std::vector<float> out(static_cast<std::size_t>(samples.size() * to_hz / from_hz));
  std::array<double, at_once> positions{};
  for (std::size_t first = 0; first < out.size(); first += at_once) {
    const std::size_t count = std::min(at_once, out.size() - first);
    for (std::size_t i = 0; i < count; ++i) positions[i] = static_cast<double>(first + i) * from_hz / to_hz;
    if (positions[0] >= from && positions[count - 1] <= to)
      read_clear(kernel, samples, 1.0, std::span(positions).first(count), out.data() + first);
    else
      for (std::size_t i = 0; i < count; ++i) out[first + i] = read_anywhere(kernel, samples, positions[i]);
  }
  return out;
}

std::vector<float> decimate(std::span<const float> samples, std::size_t factor) {
  assert(factor >= 1);
  return factor == 1 ? std::vector<float>(samples.begin(), samples.end()) : resample_by(samples, {1, factor});
}

}  // namespace gearhark
