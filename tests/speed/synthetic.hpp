// Test sounds with a known angle: sums of orders, loud or faint, in noise.
#pragma once

#include <cmath>
#include <functional>
#include <numbers>
#include <random>
#include <vector>

#include "gearhark/speed/angle_search.hpp"

namespace synthetic {

struct Tone {
  double order, amplitude;
};

// rate(t): turns/s. The angle is summed sample by sample. Noise: white, standard deviation `noise`.
inline std::vector<float> sound(double seconds, double sample_rate, const std::vector<Tone>& tones,
                                double noise, const std::function<double(double)>& rate,
                                unsigned number = 1) {
  std::mt19937 random(number);
  std::normal_distribution<double> normal(0.0, noise);
  std::uniform_real_distribution<double> any_phase(0.0, 1.0);
  std::vector<double> phase;
  for (std::size_t k = 0; k < tones.size(); ++k) phase.push_back(any_phase(random));
  std::vector<float> samples(static_cast<std::size_t>(seconds * sample_rate));
  double angle = 0.0;
  for (std::size_t i = 0; i < samples.size(); ++i) {
    double sum = noise > 0.0 ? normal(random) : 0.0;
    for (std::size_t k = 0; k < tones.size(); ++k) {
      const double cycles = tones[k].order * angle + phase[k];
      sum += tones[k].amplitude * std::sin(2.0 * std::numbers::pi * (cycles - std::floor(cycles)));
    }
    samples[i] = static_cast<float>(sum);
    angle += rate((static_cast<double>(i) + 0.5) / sample_rate) / sample_rate;
  }
  return samples;
}

// The mean of rate(t).
inline double mean_rate(double seconds, const std::function<double(double)>& rate) {
  double sum = 0.0;
  const int n = 20000;
  for (int i = 0; i < n; ++i) sum += rate((i + 0.5) * seconds / n);
  return sum / n;
}

// A stated steady speed that was read off a needle.
inline gearhark::RatePrior steady_prior(double seconds, double rate) {
  gearhark::RatePrior prior;
  const auto nodes = static_cast<std::size_t>(std::lround(seconds / 0.05)) + 1;
  prior.nominal =
      gearhark::integrate(std::vector<double>(nodes, rate), seconds / static_cast<double>(nodes - 1));
  prior.mean = -0.04;
  prior.sd = 0.04;
  prior.low = -0.14;
  prior.high = 0.065;
  return prior;
}

}  // namespace synthetic
