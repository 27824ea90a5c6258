#include "phases.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <span>
#include <utility>

#include "wide/wide.hpp"

namespace gearhark::tracking {
namespace {

constexpr double kHop = 0.05;
constexpr std::size_t kSubBlocks = 4;  // per hop
constexpr double kTwoPi = 2.0 * std::numbers::pi;
constexpr std::array<std::size_t, 3> kLags = {2, 8, 32};  // hops: 0.1, 0.4, 1.6 s
constexpr std::size_t kReach = 32;
// How far the rate may still be off at each iteration (relative): differences that could have wrapped wait.
constexpr std::array<double, 8> kDoubt = {2e-3, 1e-3, 5e-4, 2.5e-4, 1e-4, 3e-5, 0.0, 0.0};

struct Demodulated {
  double order = 0.0;
  std::vector<std::complex<float>> z;  // per hop
  std::vector<float> ratio;            // power over background
};

// Real and imaginary parts apart.
struct Parts {
  std::vector<float> re, im;
  explicit Parts(std::size_t size) : re(size), im(size) {}
};

// Sums of x exp(-i 2 pi f t) over short blocks.
Parts block_sums(const FlatSound& flat, double hz, std::size_t block) {
  Parts sums(flat.samples.size() / block);
  std::vector<float> cosine(block), sine(block);
  for (std::size_t k = 0; k < block; ++k) {
    const double phase = -kTwoPi * hz * static_cast<double>(k) / flat.rate;
    cosine[k] = static_cast<float>(std::cos(phase));
    sine[k] = static_cast<float>(std::sin(phase));
  }
  wide().block_sums(flat.samples.data(), cosine.data(), sine.data(), block, sums.re.size(), sums.re.data(),
                    sums.im.data());
  // exp(-i 2 pi f t) at each block's start, exact every 64 blocks and turned on in between.
  const double step = -kTwoPi * hz * static_cast<double>(block) / flat.rate;
  const double step_re = std::cos(step), step_im = std::sin(step);
  double re = 1.0, im = 0.0;
  for (std::size_t b = 0; b < sums.re.size(); ++b) {
    if (b % 64 == 0) {
      const double turn = hz * static_cast<double>(b * block) / flat.rate;
      const double phase = -kTwoPi * (turn - std::floor(turn));
      re = std::cos(phase);
      im = std::sin(phase);
    }
    const auto c = static_cast<float>(re), s = static_cast<float>(im);
    const float x = sums.re[b], y = sums.im[b];
    sums.re[b] = x * c - y * s;
    sums.im[b] = x * s + y * c;
    const double next = re * step_re - im * step_im;
    im = re * step_im + im * step_re;
    re = next;
  }
  return sums;
}

// A Hann window over so many blocks, for what turns this often from one block to the next.
Parts hann_taps(std::size_t width, double cycles_per_block) {
  Parts taps(width);
  for (std::size_t k = 0; k < width; ++k) {
    const double u = (static_cast<double>(k) + 0.5) / static_cast<double>(width);
    const double phase = -kTwoPi * cycles_per_block * static_cast<double>(k);
    const double weight = 0.5 - 0.5 * std::cos(kTwoPi * u);
    taps.re[k] = static_cast<float>(weight * std::cos(phase));
    taps.im[k] = static_cast<float>(weight * std::sin(phase));
  }
  return taps;
}

// One output per hop.
std::vector<std::complex<float>> windowed(const Parts& sums, const Parts& taps) {
  const std::size_t blocks = sums.re.size(), width = taps.re.size(),
                    count = blocks < width ? 0 : (blocks - width) / kSubBlocks + 1;
  std::vector<std::complex<float>> z(count);
  wide().complex_windows(sums.re.data(), sums.im.data(), taps.re.data(), taps.im.data(), width, kSubBlocks,
                         count, reinterpret_cast<float*>(z.data()));
  return z;
}

// A line's own window, and the same 8 to 15 Hz to either side.
struct LineWindows {
  Parts own;
  std::vector<Parts> beside;
  LineWindows(double window_s, double block_s)
      : own(hann_taps(static_cast<std::size_t>(std::lround(window_s / kHop)) * kSubBlocks, 0.0)) {
    for (const double shift : {-15.0, -11.5, -8.0, 8.0, 11.5, 15.0})
      beside.push_back(hann_taps(own.re.size(), shift * block_s));
  }
};

// Puts them in another order.
float median_of(std::span<float> values) {
  if (values.empty()) return 0.0f;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

// Of six rows in every place the third from below, by a network of comparisons (twelve, as few as there can
// be: Knuth, The Art of Computer Programming 3, 5.3.4).
void third_of_six(const std::array<std::vector<float>, 6>& rows, std::span<float> out) {
  constexpr std::array<std::pair<std::size_t, std::size_t>, 12> network = {
      {{0, 5}, {1, 3}, {2, 4}, {1, 2}, {3, 4}, {0, 3}, {2, 5}, {0, 1}, {2, 3}, {4, 5}, {1, 2}, {3, 4}}};
  for (std::size_t i = 0; i < out.size(); ++i) {
    float v[6];
    for (std::size_t k = 0; k < 6; ++k) v[k] = rows[k][i];
    for (const auto& [a, b] : network) {
      const float low = v[a] < v[b] ? v[a] : v[b], high = v[a] < v[b] ? v[b] : v[a];
      v[a] = low;
      v[b] = high;
    }
    out[i] = v[2];
  }
}

// Sums over about a second, of every fifth from ten before to ten behind, as far as there are any.
std::vector<float> sums_of_a_second(std::span<const float> values) {
  std::vector<float> sums(values.size());
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (i >= 10 && i + 10 < values.size()) {
      sums[i] = values[i - 10] + values[i - 5] + values[i] + values[i + 5] + values[i + 10];
      continue;
    }
    const std::size_t from = i > 10 ? i - 10 : 0, to = std::min(values.size() - 1, i + 10);
    for (std::size_t at = from; at <= to; at += 5) sums[i] += values[at];
  }
  return sums;
}

Demodulated demodulate(const FlatSound& flat, double order, std::size_t block, const LineWindows& windows) {
  const auto sums = block_sums(flat, order * flat.mean_rate, block);
  Demodulated line{order, windowed(sums, windows.own), {}};
  // Background: the median of what lies beside, which changes slowly; mean = median / ln 2.
  std::array<std::vector<float>, 6> beside;
  std::vector<float> power(line.z.size());
  for (std::size_t k = 0; k < beside.size(); ++k) {
    const std::vector<std::complex<float>> z = windowed(sums, windows.beside[k]);
    for (std::size_t i = 0; i < z.size(); ++i) power[i] = std::norm(z[i]);
    beside[k] = sums_of_a_second(power);
  }
  third_of_six(beside, power);
  line.ratio.resize(line.z.size());
  for (std::size_t i = 0; i < line.z.size(); ++i) {
    const std::size_t from = i > 10 ? i - 10 : 0, to = std::min(line.z.size() - 1, i + 10);
    const float count = static_cast<float>((to - from) / 5 + 1);
    line.ratio[i] = std::norm(line.z[i]) / (power[i] / count + 1e-20f);
  }
  return line;
}

// Symmetric banded matrix, lower half: a[i * (reach + 1) + k] = A(i, i - k). Solved by Cholesky in place.
struct Banded {
  std::size_t n, width = kReach + 1;
  std::vector<double> a, rhs;
  explicit Banded(std::size_t size) : n(size), a(size * width, 0.0), rhs(size, 0.0) {}
  double& at(std::size_t i, std::size_t j) { return a[i * width + (i - j)]; }  // j <= i
  // Adds weight (x_i - x_j - target)^2.
  void tie(std::size_t i, std::size_t j, double weight, double target) {
    at(i, i) += weight;
    at(j, j) += weight;
    at(i, j) -= weight;
    rhs[i] += weight * target;
    rhs[j] -= weight * target;
  }
  void bend(std::size_t i, double weight) {  // weight (x_i - 2 x_{i+1} + x_{i+2})^2
    at(i, i) += weight;
    at(i + 1, i + 1) += 4.0 * weight;
    at(i + 2, i + 2) += weight;
    at(i + 1, i) -= 2.0 * weight;
    at(i + 2, i + 1) -= 2.0 * weight;
    at(i + 2, i) += weight;
  }
  // Column by column, each taken off the triangle that it reaches: the innermost loop has no sum to wait for.
  void factor() {
    std::array<double, kReach + 1> column{};  // of L below the diagonal, the lowest first
    for (std::size_t j = 0; j < n; ++j) {
      const double pivot = std::sqrt(std::max(at(j, j), 1e-12));
      at(j, j) = pivot;
      const std::size_t below = std::min(kReach, n - 1 - j);
      for (std::size_t i = 1; i <= below; ++i) column[below - i] = at(j + i, j) /= pivot;
      for (std::size_t i = 1; i <= below; ++i) {
        double* row = &a[(j + i) * width];  // A(j + i, j + i - k)
        const double* reversed = &column[below - i];
        for (std::size_t k = 0; k < i; ++k) row[k] -= reversed[0] * reversed[k];
      }
    }
  }
  [[nodiscard]] std::vector<double> solve(std::vector<double> x) {
    for (std::size_t j = 0; j < n; ++j) {  // what is known is taken off those after it: none waits for a sum
      x[j] /= at(j, j);
      for (std::size_t i = j + 1; i < std::min(n, j + kReach + 1); ++i) x[i] -= at(i, j) * x[j];
    }
    for (std::size_t i = n; i-- > 0;) {
      for (std::size_t j = i + 1; j < std::min(n, i + kReach + 1); ++j) x[i] -= at(j, i) * x[j];
      x[i] /= at(i, i);
    }
    return x;
  }
};

// Adding a number of 52 bits leaves none for what is not whole.
double wrapped(double cycles) {
  constexpr double whole = 6755399441055744.0;  // 1.5 x 2^52
  return cycles - ((cycles + whole) - whole);
}

struct Step {  // one phase difference
  std::uint32_t later, earlier;
  double cycles;  // measured, wrapped
  double noise;   // variance in rad^2 from the ratios
};

// Of one line over one lag.
struct Series {
  double order;
  std::size_t lag;  // hops
  std::vector<Step> steps;
  double variance = 0.01;  // of their residuals
};

std::vector<Series> phase_steps(const std::vector<Demodulated>& lines, std::size_t first) {
  std::vector<Series> all;
  for (const Demodulated& line : lines)
    for (const std::size_t lag : kLags) {
      Series series{line.order, lag, {}};
      series.steps.reserve(line.z.size());
      for (std::size_t i = 0; i + lag < line.z.size(); ++i) {
        const std::size_t j = i + lag;
        const double r0 = line.ratio[i], r1 = line.ratio[j];
        if (r0 < 2.0 || r1 < 2.0) continue;
        const std::complex<float> turn = line.z[j] * std::conj(line.z[i]);
        series.steps.push_back({static_cast<std::uint32_t>(first + j), static_cast<std::uint32_t>(first + i),
                                std::arg(turn) / kTwoPi, 0.5 / (r0 - 1.0) + 0.5 / (r1 - 1.0)});
      }
      all.push_back(std::move(series));
    }
  return all;
}

}  // namespace

PhaseError phase_error(const FlatSound& flat, std::span<const TrackingLine> lines, PhaseSettings settings) {
  const auto block = static_cast<std::size_t>(std::lround(kHop * flat.rate / kSubBlocks));
  PhaseError out;
  out.step_s = static_cast<double>(block * kSubBlocks) / flat.rate;
  const auto n = static_cast<std::size_t>(flat.duration() / out.step_s) + 2;
  const auto first = static_cast<std::size_t>(std::lround(0.5 * settings.window_s / kHop));
  out.turns.assign(n, 0.0);
  out.followed.assign(lines.size(), false);
  std::vector<Demodulated> kept;
  std::vector<float> values;  // whose median is asked for
  const LineWindows windows(settings.window_s, static_cast<double>(block) / flat.rate);
  for (std::size_t l = 0; l < lines.size(); ++l) {
    const double hz = lines[l].order * flat.mean_rate;
    if (hz < settings.lowest_hz || hz > kHighestHz) continue;
    Demodulated line = demodulate(flat, lines[l].order, block, windows);
    values.assign(line.ratio.begin(), line.ratio.end());
    if (median_of(values) < 2.0f) continue;
    out.followed[l] = true;
    kept.push_back(std::move(line));
  }
  out.lines = static_cast<int>(kept.size());
  if (kept.empty() || n < 8) return out;

  std::vector<Series> all = phase_steps(kept, first);
  const double w = flat.mean_rate;
  const double q = (settings.steadiness == Steadiness::steady ? 2e-5 : 1e-7) * w * w;
  const double stiffness = 1.0 / (q * std::pow(out.step_s, 3));
  for (std::size_t iteration = 0; iteration < kDoubt.size(); ++iteration) {
    Banded system(n);
    for (std::size_t i = 0; i + 2 < n; ++i) system.bend(i, stiffness);
    for (std::size_t i = 0; i < n; ++i) system.at(i, i) += 1e-3;  // fixes the origin
    for (Series& series : all) {
      const double doubt =
          kTwoPi * kDoubt[iteration] * series.order * w * out.step_s * static_cast<double>(series.lag);
      if (doubt > 1.0) continue;
      const double gain = kTwoPi * series.order;
      values.clear();
      for (const Step& s : series.steps) {
        const double now = out.turns[s.later] - out.turns[s.earlier];
        const double residual = kTwoPi * wrapped(s.cycles - series.order * now);
        const double variance = s.noise + series.variance + 0.0025 + doubt * doubt;
        const double trust = std::exp(-residual * residual / (4.0 * variance)) / (8.0 * variance);
        system.tie(s.later, s.earlier, trust * gain * gain, now + residual / gain);
        values.push_back(static_cast<float>(std::abs(residual)));
      }
      if (values.empty()) continue;
      const double sigma = 1.25 * median_of(values);
      series.variance = std::max(1e-4, sigma * sigma);
    }
    const std::vector<double> rhs = system.rhs;
    system.factor();
    out.turns = system.solve(rhs);
    if (iteration + 1 ==
        kDoubt.size()) {  // variance of the total angle by one more solve: c' A^-1 c, c = last - first
      std::vector<double> c(n, 0.0);
      c[n - 1 - first] = 1.0;
      c[first] = -1.0;
      const std::vector<double> x = system.solve(c);
      const double variance = x[n - 1 - first] - x[first];
      out.relative_sd = std::sqrt(std::max(0.0, variance)) / (w * flat.duration());
    }
  }
  return out;
}

}  // namespace gearhark::tracking
