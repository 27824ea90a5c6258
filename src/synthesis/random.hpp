// A small generator of our own: the standard library's distributions differ between its makers.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <string_view>

namespace gearhark::synth {

// xoshiro256** (Blackman and Vigna 2018), filled by splitmix64. A stream of its own per name, so that adding
// one source of sound leaves the others as they were.
class Random {
 public:
  explicit Random(std::uint64_t seed, std::string_view stream = {}) {
    std::uint64_t mix = seed * 0x9e3779b97f4a7c15u + 0xcbf29ce484222325u;
    for (char c : stream) mix = (mix ^ static_cast<unsigned char>(c)) * 0x100000001b3u;
    for (auto& word : state_) {
      std::uint64_t z = (mix += 0x9e3779b97f4a7c15u);
      z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
      z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
      word = z ^ (z >> 31);
    }
  }
  double uniform() { return static_cast<double>(next() >> 11) * 0x1.0p-53; }
  double uniform(double low, double high) { return low + (high - low) * uniform(); }
  double log_uniform(double low, double high) { return low * std::pow(high / low, uniform()); }
  int integer(int low, int high) {  // both included
    return low + static_cast<int>(uniform() * static_cast<double>(high - low + 1));
  }
  double exponential(double mean) { return -mean * std::log1p(-uniform()); }
  double gaussian() {  // Box-Muller
    if (has_spare_) {
      has_spare_ = false;
      return spare_;
    }
    const double radius = std::sqrt(-2.0 * std::log1p(-uniform()));
    const double angle = 2.0 * std::numbers::pi * uniform();
    spare_ = radius * std::sin(angle);
    has_spare_ = true;
    return radius * std::cos(angle);
  }
  double gaussian(double mean, double sd) { return mean + sd * gaussian(); }
  // Of an amplitude that scatters by sd decibels.
  double scatter_db(double mean_db, double sd_db) { return std::pow(10.0, gaussian(mean_db, sd_db) / 20.0); }

 private:
  std::uint64_t next() {
    const auto turn = [](std::uint64_t x, int k) { return (x << k) | (x >> (64 - k)); };
    const std::uint64_t result = turn(state_[1] * 5, 7) * 9, t = state_[1] << 17;
    state_[2] ^= state_[0];
    state_[3] ^= state_[1];
    state_[1] ^= state_[2];
    state_[0] ^= state_[3];
    state_[2] ^= t;
    state_[3] = turn(state_[3], 45);
    return result;
  }
  std::array<std::uint64_t, 4> state_{};
  double spare_ = 0.0;
  bool has_spare_ = false;
};

}  // namespace gearhark::synth
