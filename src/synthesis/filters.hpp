// Filters and noise that the sources are made of.
#pragma once

#include <functional>
#include <span>
#include <vector>

#include "gearhark/units/quantity.hpp"
#include "random.hpp"

namespace gearhark::synth {

using Track = std::vector<float>;

// A decaying vibration that an impact sets off.
struct Resonance {
  double hz = 1000.0;
  double damping = 0.02;  // of critical
  double gain = 1.0;      // peak of its answer to a unit impact
};
std::vector<Resonance> draw_resonances(Random& random, int count, double low_hz, double high_hz);

// A unit impact at a time between samples is shared by its two neighbours.
void strike(Track& track, double seconds, double amplitude);
// Sum of the resonances' answers to the impacts in `track`.
Track ring(const Track& impacts, std::span<const Resonance> resonances);

// Second-order section; the cookbook forms of the bilinear transform.
struct Section {
  double b0 = 1, b1 = 0, b2 = 0, a1 = 0, a2 = 0;
  static Section high_pass(double hz, double q);
  static Section low_pass(double hz, double q);
  static Section peak(double hz, double q, double gain_db);
  void run(std::span<float> track) const;
};

// Gaussian noise of RMS 1 whose amplitude spectrum follows `response(Hz)`.
Track shaped_noise(std::size_t samples, Random& random, const std::function<double(double)>& response);

// Multiplies by a gain on the 1 ms grid, linear in between.
void scale(std::span<float> track, std::span<const double> gain);
void add(std::span<float> to, std::span<const float> what, double gain = 1.0);
double rms(std::span<const float> track);

// A smooth random gain over frequency, as a structure's path has: bumps and dips of about `sd_db` decibels.
class Path {
 public:
  Path(Random& random, double sd_db);
  [[nodiscard]] double gain(double hz) const;

 private:
  struct Bump {
    double log_hz, width, db;
  };
  std::vector<Bump> bumps_;
};

// Mean power in the third-octave bands from 20 Hz to 10 kHz (IEC 61260-1 base ten midbands), any common unit;
// only those that end below `highest`.
std::vector<double> third_octaves(std::span<const float> track, Hertz highest = Hertz(11300.0));

}  // namespace gearhark::synth
