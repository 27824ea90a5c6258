// Discrete Fourier transforms. Plans are made once and reused; lengths are made of 2, 3 and 5 only. A plan
// owns its scratch memory: not for two threads at once. Forward is X[k] = sum x[n] exp(-2 pi i k n / N),
// unscaled; inverse divides by N, so that inverse(forward(x)) = x.
#pragma once

#include <complex>
#include <cstddef>
#include <memory>
#include <span>
#include <vector>

namespace gearhark {

// Smallest even length >= n made of the factors 2, 3 and 5; from 65536 on also a multiple of 128, which the
// transform of long recordings needs to be quick.
std::size_t good_length(std::size_t n);

// Of real signals. bins: length()/2 + 1.
class RealFft {
 public:
  explicit RealFft(std::size_t length);  // even, made of 2, 3 and 5
  ~RealFft();
  RealFft(RealFft&&) noexcept;
  RealFft& operator=(RealFft&&) noexcept;
  [[nodiscard]] std::size_t length() const;
  void forward(std::span<const float> time, std::span<std::complex<float>> bins) const;
  // power[k] = |X[k]|^2, quicker than by way of the bins themselves.
  void power(std::span<const float> time, std::span<float> power) const;
  // The imaginary parts of the first and last bin are taken as 0.
  void inverse(std::span<const std::complex<float>> bins, std::span<float> time) const;

 private:
  struct Plan;
  std::unique_ptr<Plan> plan_;
};

// Of complex signals; in and out are length() each and may not overlap.
class Fft {
 public:
  explicit Fft(std::size_t length);  // made of 2, 3 and 5
  ~Fft();
  Fft(Fft&&) noexcept;
  Fft& operator=(Fft&&) noexcept;
  [[nodiscard]] std::size_t length() const;
  void forward(std::span<const std::complex<float>> in, std::span<std::complex<float>> out) const;
  void inverse(std::span<const std::complex<float>> in, std::span<std::complex<float>> out) const;

 private:
  struct Plan;
  std::unique_ptr<Plan> plan_;
};

struct MomentSums;

// Of many windowed frames of a real signal, up to 16 at once: several times quicker than one by one. For
// frames up to some 16384 points.
class FrameFft {
 public:
  static constexpr std::size_t batch = 16;
  // Each frame is as many samples as weights, times them, followed by zeros up to `length` (even, made of 2,
  // 3 and 5, at least weights.size()).
  FrameFft(std::vector<float> weights, std::size_t length);
  ~FrameFft();
  FrameFft(FrameFft&&) noexcept;
  FrameFft& operator=(FrameFft&&) noexcept;
  [[nodiscard]] std::size_t length() const;
  [[nodiscard]] std::size_t bins() const;  // length()/2 + 1
  // Frame f < count <= batch starts at samples[f * hop]; out: count x bins().
  void forward(std::span<const float> samples, std::size_t hop, std::size_t count,
               std::span<std::complex<float>> out) const;
  // power[k] += |X[k]|^2 of each of those frames; power: bins().
  void add_power(std::span<const float> samples, std::size_t hop, std::size_t count,
                 std::span<float> power) const;
  // second[k] += |X[k]|^2 and fourth[k] += |X[k]|^4 of all frames that lie wholly in `samples`, one every
  // `hop`; both: bins().
  void add_moments(std::span<const float> samples, std::size_t hop, std::span<double> second,
                   std::span<double> fourth) const;
  // power[k * batch + f] = |X[k]|^2 of frame f; power: bins() x batch. Beyond `count` the last frame is
  // repeated.
  void lane_power(std::span<const float> samples, std::size_t hop, std::size_t count,
                  std::span<float> power) const;

 private:
  friend void add_moments(std::span<const float>, std::span<const MomentSums>);
  struct Plan;
  std::unique_ptr<Plan> plan_;
};

// FrameFft::add_moments() of several lengths in one reading of the samples: quicker where the longest hop is
// a multiple of the others.
struct MomentSums {
  const FrameFft& fft;
  std::size_t hop;
  std::span<double> second, fourth;
};
void add_moments(std::span<const float> samples, std::span<const MomentSums> all);

}  // namespace gearhark
