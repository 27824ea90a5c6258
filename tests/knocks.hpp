// Knocks for tests that make their own sound.
#pragma once

#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

namespace gearhark::test {

// Adds a knock that rings at 3 kHz so many times per second, each from a whole sample on, up to a tenth of a
// second before the end; every second one weaker by `every_second`, or not at all.
inline void add_knocks(std::vector<float>& samples, double rate_hz, double per_second, double strength,
                       double every_second = 1.0) {
  constexpr double first_s = 0.01, quiet_end_s = 0.1;
  const double seconds = static_cast<double>(samples.size()) / rate_hz;
  bool second = false;
  for (double at = first_s; at < seconds - quiet_end_s; at += 1.0 / per_second, second = !second) {
    const auto first = static_cast<std::size_t>(at * rate_hz);
    for (std::size_t i = 0; i < 80; ++i) {
      const double t = static_cast<double>(i) / rate_hz;
      samples[first + i] +=
          static_cast<float>((second ? strength * every_second : strength) * std::exp(-t / 0.001) *
                             std::sin(2.0 * std::numbers::pi * 3000.0 * t));
    }
  }
}

}  // namespace gearhark::test
