#include "turning.hpp"

#include <algorithm>
#include <cmath>

namespace gearhark::synth {

namespace {

constexpr double half_track_m = 0.68;
constexpr double lateral_acceleration = 2.5;  // m/s^2 in a bend taken briskly

std::size_t step_count(const SoundRun& run) {
  return static_cast<std::size_t>(std::lround(run.duration.value() / Motion{}.step_s)) + 1;
}

// Rolling and air drag, and the engine's braking in gear: a coast-down's law.
double deceleration(double speed, bool in_gear) {
  return 0.13 + 0.0005 * speed * speed + (in_gear ? 0.30 : 0.0);
}

// The speed that was meant, m/s, before the driver's wander.
std::vector<double> intended_speed(const SoundRun& run, std::size_t steps) {
  std::vector<double> speed(steps, run.speed.value());
  const double step_s = Motion{}.step_s;
  for (std::size_t i = 1; i < steps; ++i) {
    if (run.course == Course::sweep)
      speed[i] = std::lerp(run.speed.value(), run.end_speed.value(),
                           static_cast<double>(i) / static_cast<double>(steps - 1));
    if (run.course == Course::coast_down)
      speed[i] = std::max(2.0, speed[i - 1] - step_s * deceleration(speed[i - 1], !run.gear.neutral()));
  }
  return speed;
}

std::vector<double> integral(const std::vector<double>& rate, double step_s) {
  std::vector<double> turns(rate.size(), 0.0);
  for (std::size_t i = 1; i < rate.size(); ++i)
    turns[i] = turns[i - 1] + 0.5 * step_s * (rate[i] + rate[i - 1]);
  return turns;
}

}  // namespace

std::vector<double> wander(Random& random, std::size_t steps, double step_s, double sd,
                           double time_constant_s) {
  const double keep = std::exp(-step_s / time_constant_s), push = std::sqrt(1.0 - keep * keep);
  const double follow = 1.0 - keep;
  std::vector<double> out(steps);
  double first = random.gaussian(), second = 0.0;
  const auto settle = static_cast<long>(6.0 * time_constant_s / step_s);
  for (long i = -settle; i < static_cast<long>(steps); ++i) {
    first = keep * first + push * random.gaussian();
    second += follow * (first - second);
    // Two equal poles halve the variance of one.
    if (i >= 0) out[static_cast<std::size_t>(i)] = sd * std::numbers::sqrt2 * second;
  }
  return out;
}

Length true_circumference(const Car& car, std::uint64_t car_seed) {
  Random random(car_seed, "circumference");
  const double error = std::clamp(random.gaussian(), -1.8, 1.8) * 0.5 * car.tyre.relative_tolerance;
  return car.tyre.rolling_circumference * (1.0 + error);
}

Motion drive(const Car& car, const SoundSettings& settings) {
  const SoundRun& run = settings.run;
  if (run.motion) return *run.motion;
  Motion motion;
  const std::size_t steps = step_count(run);
  const double circumference = true_circumference(car, settings.car_seed).value();
  Random random(settings.run_seed, "motion"), character(settings.car_seed, "motion");

  std::vector<double> rate = intended_speed(run, steps);
  const bool held =
      run.course == Course::steady;  // a sweep or coast-down has little room for a driver's wander
  const auto slow = wander(random, steps, motion.step_s, run.wander * (held ? 1.0 : 0.3), 3.0);
  const auto surge = wander(random, steps, motion.step_s, run.wander * 0.05, 0.15);
  for (std::size_t i = 0; i < steps; ++i) rate[i] *= (1.0 + slow[i] + surge[i]) / circumference;
  motion.wheel = integral(rate, motion.step_s);

  const double uneven_tyres = character.gaussian(0.0, 0.001);
  const auto steering = wander(random, steps, motion.step_s, 0.15, 2.0);
  const double side = run.turn == Turn::straight ? 0.0 : run.turn == Turn::left ? 1.0 : -1.0;
  std::vector<double> bend(steps), engine(steps);
  for (std::size_t i = 0; i < steps; ++i) {
    const double speed = std::max(rate[i] * circumference, 1.0);
    const double radius = std::max(speed * speed / lateral_acceleration, 12.0);
    bend[i] = rate[i] * (uneven_tyres + side * (1.0 + steering[i]) * half_track_m / radius);
  }
  motion.bend = integral(bend, motion.step_s);
  const auto hunting = wander(random, steps, motion.step_s, 0.012, 1.5);
  for (std::size_t i = 0; i < steps; ++i) engine[i] = run.idle.value() * (1.0 + hunting[i]);
  motion.engine = integral(engine, motion.step_s);
  return motion;
}

Turning::Turning(const Car& car, const SoundSettings& settings, ShaftRates rates, Motion motion)
    : rates_(std::move(rates)),
      motion_(std::move(motion)),
      circumference_(true_circumference(car, settings.car_seed).value()) {
  Random random(settings.car_seed, "radii and creep");
  for (const Shaft& shaft : car.shafts) {
    const bool wheel = shaft.id.starts_with("wheel_");
    const bool driven = std::ranges::find(car.driven_wheels, shaft.id) != car.driven_wheels.end();
    const double radius = random.gaussian(0.0, 0.002), slip = settings.run.load == Load::drive ? 0.004 : 0.0;
    if (wheel && !driven) factor_[shaft.id] = 1.0 + radius - slip;
  }
  for (const Belt& belt : car.belts)
    factor_[belt.driven] = 1.0 - random.uniform(belt.creep_low, belt.creep_high);
}

bool Turning::turns(std::string_view shaft) const {
  const auto found = rates_.find(shaft);
  return found != rates_.end() && std::abs(mean_rate(shaft)) > 0.05;
}

std::vector<double> Turning::angle(std::string_view shaft) const {
  std::vector<double> turned(steps(), 0.0);
  const auto found = rates_.find(shaft);
  if (found == rates_.end()) return turned;
  const auto factor = factor_.find(shaft);
  const Rate rate = found->second * (factor == factor_.end() ? 1.0 : factor->second);
  for (std::size_t i = 0; i < turned.size(); ++i)
    turned[i] = rate.wheel * motion_.wheel[i] + rate.engine * motion_.engine[i] + rate.bend * motion_.bend[i];
  return turned;
}

double Turning::mean_rate(std::string_view shaft) const {
  const auto turned = angle(shaft);
  return (turned.back() - turned.front()) / seconds();
}

double Turning::road_speed(std::size_t step) const {
  const std::size_t low = std::min(step, steps() - 2);
  return (motion_.wheel[low + 1] - motion_.wheel[low]) / motion_.step_s * circumference_;
}

std::vector<double> crossings(std::span<const double> phase, double step_s, double start, double jitter,
                              Random& random) {
  std::vector<double> times;
  const double way = phase.back() >= phase.front() ? 1.0 : -1.0;
  double next = way * phase.front() + start;
  for (std::size_t i = 1; i < phase.size(); ++i) {
    const double from = way * phase[i - 1], to = way * phase[i];
    while (to > from && next <= to) {
      if (next >= from) times.push_back((static_cast<double>(i - 1) + (next - from) / (to - from)) * step_s);
      next += std::max(0.2, 1.0 + jitter * random.gaussian());
    }
  }
  return times;
}

double at(std::span<const double> grid, double step_s, double seconds) {
  const double place = std::clamp(seconds / step_s, 0.0, static_cast<double>(grid.size() - 1));
  const auto low = std::min(static_cast<std::size_t>(place), grid.size() - 2);
  return std::lerp(grid[low], grid[low + 1], place - static_cast<double>(low));
}

}  // namespace gearhark::synth
