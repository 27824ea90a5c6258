#include "gearhark/signal/fft.hpp"

#include <kissfft/kiss_fftr.h>

#include <cassert>
#include <vector>

namespace gearhark {

std::size_t good_length(std::size_t n) {
  for (std::size_t even = n + n % 2;; even += 2) {
    std::size_t rest = even;
    for (std::size_t factor : {2u, 3u, 5u})
      while (rest % factor == 0 && rest > 1) rest /= factor;
    if (rest == 1 && even > 0) return even;
  }
}

struct RealFft::Plan {
  explicit Plan(std::size_t n) : length(n) {}
  std::size_t length;
  kiss_fftr_cfg ahead = kiss_fftr_alloc(static_cast<int>(length), 0, nullptr, nullptr);
  kiss_fftr_cfg back = kiss_fftr_alloc(static_cast<int>(length), 1, nullptr, nullptr);
  ~Plan() {
    kiss_fftr_free(ahead);
    kiss_fftr_free(back);
  }
};

RealFft::RealFft(std::size_t length) : plan_(std::make_unique<Plan>(length)) {
  assert(length == good_length(length));
}
RealFft::~RealFft() = default;
RealFft::RealFft(RealFft&&) noexcept = default;
RealFft& RealFft::operator=(RealFft&&) noexcept = default;

std::size_t RealFft::length() const { return plan_->length; }

void RealFft::forward(std::span<const float> time, std::span<std::complex<float>> bins) const {
  assert(time.size() == length() && bins.size() == length() / 2 + 1);
  // std::complex<float> and kiss_fft_cpx are both two floats, real part first.
  kiss_fftr(plan_->ahead, time.data(), reinterpret_cast<kiss_fft_cpx*>(bins.data()));
}

void RealFft::inverse(std::span<const std::complex<float>> bins, std::span<float> time) const {
  assert(time.size() == length() && bins.size() == length() / 2 + 1);
  kiss_fftri(plan_->back, reinterpret_cast<const kiss_fft_cpx*>(bins.data()), time.data());
  const float scale = 1.0f / static_cast<float>(length());
  for (float& sample : time) sample *= scale;
}

}  // namespace gearhark
