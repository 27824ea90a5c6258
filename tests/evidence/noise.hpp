// Reproducible noise for tests: the standard library's engines are portable, its distributions are not.
#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>
#include <random>

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

}  // namespace gearhark::test
