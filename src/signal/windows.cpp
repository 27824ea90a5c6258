#include "gearhark/signal/windows.hpp"

#include <cmath>
#include <complex>
#include <initializer_list>
#include <numbers>

namespace gearhark {
namespace {

// a0 - a1 cos(phase) + a2 cos(2 phase) - ...
double cosine_sum(std::initializer_list<double> terms, double phase) {
  double sum = 0.0, sign = 1.0, multiple = 0.0;
  for (const double term : terms) {
    sum += sign * term * std::cos(multiple * phase);
    sign = -sign;
    multiple += 1.0;
  }
  return sum;
}

// `part` runs over 0..1 along the window.
double weight(Window shape, double part) {
  const double phase = 2.0 * std::numbers::pi * part;
  switch (shape) {
    case Window::rectangular:
      return 1.0;
    case Window::triangular:
      return 1.0 - std::abs(2.0 * part - 1.0);
    case Window::hann:
      return cosine_sum({0.5, 0.5}, phase);
    case Window::hamming:
      return cosine_sum({0.54, 0.46}, phase);
    case Window::blackman:
      return cosine_sum({0.42, 0.5, 0.08}, phase);
    case Window::blackman_harris:
      return cosine_sum({0.35875, 0.48829, 0.14128, 0.01168}, phase);
  }
  return 0.0;
}

struct Sums {
  double weights = 0.0, squares = 0.0;
};
Sums sums(std::span<const float> weights) {
  Sums out;
  for (const auto w : weights) {
    out.weights += static_cast<double>(w);
    out.squares += static_cast<double>(w) * static_cast<double>(w);
  }
  return out;
}

// Modified Bessel function of order 0; Abramowitz and Stegun 9.6.10.
double bessel_i0(double x) {
  double sum = 1.0, term = 1.0;
  for (int k = 1; term > sum * 1e-17; ++k) {
    term *= x * x / (4.0 * k * k);
    sum += term;
  }
  return sum;
}

}  // namespace

std::vector<float> window_weights(Window shape, std::size_t length) {
  std::vector<float> out(length);
  for (std::size_t i = 0; i < length; ++i)
    out[i] = static_cast<float>(weight(shape, static_cast<double>(i) / static_cast<double>(length)));
  return out;
}

double coherent_gain(std::span<const float> weights) {
  return sums(weights).weights / static_cast<double>(weights.size());
}

double noise_bandwidth_bins(std::span<const float> weights) {
  const Sums s = sums(weights);
  return static_cast<double>(weights.size()) * s.squares / (s.weights * s.weights);
}

Decibels scalloping_loss(std::span<const float> weights) {
  std::complex<double> half_bin = 0.0;
  const double step = std::numbers::pi / static_cast<double>(weights.size());
  for (std::size_t i = 0; i < weights.size(); ++i)
    half_bin += static_cast<double>(weights[i]) * std::polar(1.0, -step * static_cast<double>(i));
  return Decibels::of_amplitude_ratio(sums(weights).weights / std::abs(half_bin));
}

double overlap_correlation(std::span<const float> weights, std::size_t hop) {
  double together = 0.0;
  for (std::size_t i = hop; i < weights.size(); ++i)
    together += static_cast<double>(weights[i]) * static_cast<double>(weights[i - hop]);
  return together / sums(weights).squares;
}

double kaiser(double u, double beta) { return Kaiser(beta)(u); }

Kaiser::Kaiser(double beta) : beta_(beta), middle_(bessel_i0(beta)) {}

double Kaiser::operator()(double u) const {
  const double inside = 1.0 - u * u;
  return inside < 0.0 ? 0.0 : bessel_i0(beta_ * std::sqrt(inside)) / middle_;
}

}  // namespace gearhark
