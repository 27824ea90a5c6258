// Discrete Fourier transforms of real signals. Plans are made once and reused; lengths of 2, 3 and 5 only.
#pragma once

#include <complex>
#include <cstddef>
#include <memory>
#include <span>

namespace gearhark {

// Smallest even length >= n made of the factors 2, 3 and 5.
std::size_t good_length(std::size_t n);

// One plan, not shared between threads. Forward: X[k] = sum x[n] exp(-2 pi i k n / N), k = 0..N/2, unscaled.
class RealFft {
 public:
  explicit RealFft(std::size_t length);  // length == good_length(length)
  ~RealFft();
  RealFft(RealFft&&) noexcept;
  RealFft& operator=(RealFft&&) noexcept;
  [[nodiscard]] std::size_t length() const;
  // time: length() samples; bins: length()/2 + 1.
  void forward(std::span<const float> time, std::span<std::complex<float>> bins) const;
  // Divides by the length, so that inverse(forward(x)) = x.
  void inverse(std::span<const std::complex<float>> bins, std::span<float> time) const;

 private:
  struct Plan;
  std::unique_ptr<Plan> plan_;
};

}  // namespace gearhark
