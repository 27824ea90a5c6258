// Reproducible noise for tests: the standard library's engines are portable, its distributions are not.
#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>
#include <random>
#include <vector>

namespace gearhark::test {

class Noise {
 public:
  explicit Noise(std::uint32_t seed) : engine_(seed) {}
  double uniform() { return (static_cast<double>(engine_()) + 0.5) / 4294967296.0; }
  double exponential() { return -std::log(uniform()); }
  double gaussian() {
    return std::sqrt(-2.0 * std::log(uniform())) * std::cos(2.0 * std::numbers::pi * uniform());
  }

 private:
  std::mt19937 engine_;
};

// White, Gaussian, standard deviation 1.
inline std::vector<float> noise(std::size_t count, std::uint32_t seed) {
  Noise source(seed);
  std::vector<float> out(count);
  for (float& x : out) x = static_cast<float>(source.gaussian());
  return out;
}

}  // namespace gearhark::test
