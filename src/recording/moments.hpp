// The recording in moments of 10 ms: what each is like, and which cannot be used.
#pragma once

#include <span>
#include <vector>

#include "gearhark/recording/quality.hpp"

namespace gearhark {

struct Moments {
  double moment_s = 0.0;
  std::vector<float> level, middle_level, high_level;  // dB re full scale: all, above 300 Hz, above 1500 Hz
  std::vector<int> clipped;                            // samples near full scale
  std::vector<float> span;                             // highest - lowest sample
};

Moments moments_of(std::span<const float> samples, double rate_hz);

struct Flagged {
  std::vector<bool> moments;
  int events = 0;  // separate occasions; silence at the very start or end is flagged but is none
};

Flagged bumps_in(const Moments& moments);
Flagged dropouts_in(const Moments& moments);
Flagged clipping_in(const Moments& moments);

// What is left when the flagged moments, each with the time around it that they spoil, are cut out.
std::vector<Stretch> unflagged(const std::vector<bool>& spoilt, double moment_s, Seconds duration);
// Flags the neighbours of flagged moments too.
void widen(std::vector<bool>& flags, std::size_t before, std::size_t after);

}  // namespace gearhark
