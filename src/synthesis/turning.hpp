// The angle of every shaft over a run.
#pragma once

#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "gearhark/synthesis/synthesis.hpp"
#include "random.hpp"

namespace gearhark::synth {

constexpr double sample_rate = 48000.0;
constexpr int samples_per_step = 48;  // Motion's 1 ms grid

// Slow random deviation: white noise through two equal one-pole filters; mean 0, the given standard
// deviation.
std::vector<double> wander(Random& random, std::size_t steps, double step_s, double sd,
                           double time_constant_s);

// The true rolling circumference: within the tyre's tolerance.
Length true_circumference(const Car& car, std::uint64_t car_seed);

// Drives the run.
Motion drive(const Car& car, const SoundSettings& settings);

// Every shaft's angle: kinematics, plus what kinematics does not know (belt creep, undriven wheels of another
// radius, driven wheels that slip a little under power).
class Turning {
 public:
  Turning(const Car& car, const SoundSettings& settings, ShaftRates rates, Motion motion);
  [[nodiscard]] std::size_t steps() const { return motion_.wheel.size(); }
  [[nodiscard]] std::size_t samples() const { return (steps() - 1) * samples_per_step; }
  [[nodiscard]] double seconds() const { return static_cast<double>(steps() - 1) * motion_.step_s; }
  [[nodiscard]] const Motion& motion() const { return motion_; }
  // Does anything drive it, and does it turn?
  [[nodiscard]] bool turns(std::string_view shaft) const;
  // Turns on the motion's grid; all zero for a shaft that stands still, "" or undetermined.
  [[nodiscard]] std::vector<double> angle(std::string_view shaft) const;
  // Mean turns per second.
  [[nodiscard]] double mean_rate(std::string_view shaft) const;
  // Road speed at a step, m/s.
  [[nodiscard]] double road_speed(std::size_t step) const;

 private:
  ShaftRates rates_;
  Motion motion_;
  double circumference_;
  std::map<std::string, double, std::less<>> factor_;
};

// Times at which `phase` (on the grid, growing or falling) passes start + 0, start + 1, ... jittered: each
// spacing is 1 + jitter N(0,1), and the errors add up.
std::vector<double> crossings(std::span<const double> phase, double step_s, double start, double jitter,
                              Random& random);

// Linear interpolation on the grid.
double at(std::span<const double> grid, double step_s, double seconds);

}  // namespace gearhark::synth
