// The library's transforms done by FFTW (single precision, measured plans), for comparison alone: linked into
// bench_fftw before the library, whose own stay out.
#include "gearhark/signal/fft.hpp"

#include <fftw3.h>

#include <algorithm>
#include <cassert>
#include <cstring>

namespace gearhark {
namespace {

using Bin = std::complex<float>;

struct Aligned {
  explicit Aligned(std::size_t floats) : data(fftwf_alloc_real(floats)) { std::fill_n(data, floats, 0.0f); }
  ~Aligned() { fftwf_free(data); }
  Aligned(const Aligned&) = delete;
  Aligned& operator=(const Aligned&) = delete;
  float* data;
};

// Making a plan is not part of what is compared: long ones are estimated, as a program that runs once would.
unsigned effort(std::size_t length) { return length > 65536 ? FFTW_ESTIMATE : FFTW_MEASURE; }

}  // namespace

struct Fft::Plan {
  explicit Plan(std::size_t n) : length(n), in(2 * n), out(2 * n) {
    auto *a = reinterpret_cast<fftwf_complex*>(in.data), *b = reinterpret_cast<fftwf_complex*>(out.data);
    ahead = fftwf_plan_dft_1d(static_cast<int>(n), a, b, FFTW_FORWARD, effort(n));
    back = fftwf_plan_dft_1d(static_cast<int>(n), a, b, FFTW_BACKWARD, effort(n));
  }
  std::size_t length;
  Aligned in, out;
  fftwf_plan ahead, back;
};
Fft::Fft(std::size_t length) : plan_(std::make_unique<Plan>(length)) {}
Fft::~Fft() = default;
Fft::Fft(Fft&&) noexcept = default;
Fft& Fft::operator=(Fft&&) noexcept = default;
std::size_t Fft::length() const { return plan_->length; }
void Fft::forward(std::span<const Bin> in, std::span<Bin> out) const {
  std::memcpy(plan_->in.data, in.data(), in.size() * sizeof(Bin));
  fftwf_execute(plan_->ahead);
  std::memcpy(static_cast<void*>(out.data()), plan_->out.data, out.size() * sizeof(Bin));
}
void Fft::inverse(std::span<const Bin> in, std::span<Bin> out) const {
  std::memcpy(plan_->in.data, in.data(), in.size() * sizeof(Bin));
  fftwf_execute(plan_->back);
  const auto* from = reinterpret_cast<const Bin*>(plan_->out.data);
  for (std::size_t k = 0; k < out.size(); ++k) out[k] = from[k] / static_cast<float>(length());
}

struct RealFft::Plan {
  explicit Plan(std::size_t n) : length(n), time(n), bins(n + 2) {
    auto* b = reinterpret_cast<fftwf_complex*>(bins.data);
    ahead = fftwf_plan_dft_r2c_1d(static_cast<int>(n), time.data, b, effort(n));
    back = fftwf_plan_dft_c2r_1d(static_cast<int>(n), b, time.data, effort(n));
  }
  std::size_t length;
  Aligned time, bins;
  fftwf_plan ahead, back;
};
RealFft::RealFft(std::size_t length) : plan_(std::make_unique<Plan>(length)) {}
RealFft::~RealFft() = default;
RealFft::RealFft(RealFft&&) noexcept = default;
RealFft& RealFft::operator=(RealFft&&) noexcept = default;
std::size_t RealFft::length() const { return plan_->length; }
void RealFft::forward(std::span<const float> time, std::span<Bin> bins) const {
  std::memcpy(plan_->time.data, time.data(), time.size() * sizeof(float));
  fftwf_execute(plan_->ahead);
  std::memcpy(static_cast<void*>(bins.data()), plan_->bins.data, bins.size() * sizeof(Bin));
}
void RealFft::power(std::span<const float> time, std::span<float> power) const {
  std::memcpy(plan_->time.data, time.data(), time.size() * sizeof(float));
  fftwf_execute(plan_->ahead);
  const auto* bins = reinterpret_cast<const Bin*>(plan_->bins.data);
  for (std::size_t k = 0; k < power.size(); ++k) power[k] = std::norm(bins[k]);
}
void RealFft::inverse(std::span<const Bin> bins, std::span<float> time) const {
  std::memcpy(plan_->bins.data, bins.data(), bins.size() * sizeof(Bin));
  fftwf_execute(plan_->back);
  for (std::size_t i = 0; i < time.size(); ++i) time[i] = plan_->time.data[i] / static_cast<float>(length());
}

struct FrameFft::Plan {
  Plan(std::vector<float> window, std::size_t n)
      : weights(std::move(window)), length(n), bins(n / 2 + 1), time(batch * n), out(2 * batch * bins) {
    const int points = static_cast<int>(n);
    many = fftwf_plan_many_dft_r2c(1, &points, static_cast<int>(batch), time.data, nullptr, 1, points,
                                   reinterpret_cast<fftwf_complex*>(out.data), nullptr, 1,
                                   static_cast<int>(bins), effort(n));
    std::fill_n(time.data, batch * n, 0.0f);
  }
  const Bin* run(std::span<const float> samples, std::size_t hop, std::size_t count) {
    for (std::size_t f = 0; f < batch; ++f) {
      const float* from = samples.data() + std::min(f, count - 1) * hop;
      for (std::size_t i = 0; i < weights.size(); ++i) time.data[f * length + i] = from[i] * weights[i];
    }
    fftwf_execute(many);
    return reinterpret_cast<const Bin*>(out.data);
  }
  std::vector<float> weights;
  std::size_t length, bins;
  Aligned time, out;
  fftwf_plan many;
};
FrameFft::FrameFft(std::vector<float> weights, std::size_t length)
    : plan_(std::make_unique<Plan>(std::move(weights), length)) {}
FrameFft::~FrameFft() = default;
FrameFft::FrameFft(FrameFft&&) noexcept = default;
FrameFft& FrameFft::operator=(FrameFft&&) noexcept = default;
std::size_t FrameFft::length() const { return plan_->length; }
std::size_t FrameFft::bins() const { return plan_->bins; }
void FrameFft::forward(std::span<const float> samples, std::size_t hop, std::size_t count,
                       std::span<Bin> out) const {
  std::copy_n(plan_->run(samples, hop, count), count * bins(), out.data());
}
void FrameFft::add_power(std::span<const float> samples, std::size_t hop, std::size_t count,
                         std::span<float> power) const {
  const Bin* all = plan_->run(samples, hop, count);
  for (std::size_t f = 0; f < count; ++f)
    for (std::size_t k = 0; k < bins(); ++k) power[k] += std::norm(all[f * bins() + k]);
}
void FrameFft::lane_power(std::span<const float> samples, std::size_t hop, std::size_t count,
                          std::span<float> power) const {
  const Bin* all = plan_->run(samples, hop, count);
  for (std::size_t k = 0; k < bins(); ++k)
    for (std::size_t f = 0; f < batch; ++f) power[k * batch + f] = std::norm(all[f * bins() + k]);
}

void add_moments(std::span<const float> samples, std::span<const MomentSums> all) {
  for (const MomentSums& one : all) one.fft.add_moments(samples, one.hop, one.second, one.fourth);
}

void FrameFft::add_moments(std::span<const float> samples, std::size_t hop, std::span<double> second,
                           std::span<double> fourth) const {
  const std::size_t window = plan_->weights.size();
  const std::size_t frames = samples.size() < window ? 0 : (samples.size() - window) / hop + 1;
  for (std::size_t first = 0; first < frames; first += batch) {
    const std::size_t count = std::min(batch, frames - first);
    const Bin* all = plan_->run(samples.subspan(first * hop), hop, count);
    for (std::size_t f = 0; f < count; ++f)
      for (std::size_t k = 0; k < bins(); ++k) {
        const auto power = static_cast<double>(std::norm(all[f * bins() + k]));
        second[k] += power;
        fourth[k] += power * power;
      }
  }
}

}  // namespace gearhark
