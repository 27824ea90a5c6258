#include "gearhark/diagnosis/next_run.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

namespace gearhark {
namespace {

constexpr double full_evidence =
    4.0;  // standard deviations a fault raises its own evidence by where it is loudest
constexpr double least_worth = 0.02;  // nats: below this a run is not worth the petrol
constexpr std::array<double, 4> speeds_kmh = {40.0, 50.0, 65.0, 80.0};
constexpr double bend_speed_kmh = 40.0;
constexpr double neutral_speed_kmh = 70.0;
constexpr int compared_harmonics = 3;

// A hypothesis as it would be heard in one run.
struct Heard {
  const Family* family = nullptr;
  double loudness = 0.0;  // visibility
};

bool overlaps(double a, const Family& fa, double b, const Family& fb) {
  if (a <= 0.0 || b <= 0.0) return false;
  return a * (1.0 + fa.slip_low) <= b * (1.0 + fb.slip_high) &&
         b * (1.0 + fb.slip_low) <= a * (1.0 + fa.slip_high);
}

// How much of a's first harmonics falls on b's lines: 0 none, 1 all.
double shared_lines(const Family& a, const Family& b) {
  const bool engine = a.base.engine_bound();
  if (engine != b.base.engine_bound()) return 0.0;
  const double fa = std::abs(engine ? a.base.engine : a.base.wheel),
               fb = std::abs(engine ? b.base.engine : b.base.wheel);
  int shared = 0;
  for (int i = 1; i <= compared_harmonics; ++i) {
    bool falls_on = false;
    for (int k = 1; k <= compared_harmonics; ++k) falls_on = falls_on || overlaps(i * fa, a, k * fb, b);
    shared += falls_on;
  }
  return static_cast<double>(shared) / compared_harmonics;
}

std::vector<Heard> heard_in(const Car& car, const std::vector<Hypothesis>& hypotheses,
                            const std::vector<Family>& families, const NextRun& run) {
  std::vector<Heard> heard;
  for (const Hypothesis& hypothesis : hypotheses) {
    const auto found = std::find_if(families.begin(), families.end(), [&](const Family& f) {
      return f.part == hypothesis.part && f.fault == hypothesis.fault;
    });
    if (found == families.end())
      heard.push_back({});
    else
      heard.push_back(
          {&*found, visibility(car, *found, DriveState{run.gear, Clutch::engaged}, run.load, run.turn)});
  }
  return heard;
}

// Expected evidence of every hypothesis, were `truth` the fault.
std::vector<double> outcome(const std::vector<Heard>& heard, const Heard& truth) {
  std::vector<double> evidence(heard.size(), 0.0);
  if (!truth.family) return evidence;
  for (std::size_t j = 0; j < heard.size(); ++j) {
    if (!heard[j].family) continue;
    const double share = &truth == &heard[j] ? 1.0 : shared_lines(*truth.family, *heard[j].family);
    evidence[j] = full_evidence * truth.loudness * share;
  }
  return evidence;
}

double distance_squared(const std::vector<double>& a, const std::vector<double>& b) {
  double sum = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i) sum += (a[i] - b[i]) * (a[i] - b[i]);
  return sum;
}

std::string load_words(Load load) {
  switch (load) {
    case Load::drive:
      return "pulling";
    case Load::floating:
      return "float, just enough throttle to hold speed";
    case Load::coast:
      return "closed throttle, in gear";
    case Load::neutral:
      break;
  }
  return "rolling in neutral";
}

std::string why(const Car& car, const std::vector<Hypothesis>& hypotheses, const NextRun& run) {
  const auto rates = shaft_rates(car, DriveState{run.gear, Clutch::engaged});
  if (!rates || hypotheses.size() < 2)
    return fmt::format("It tells most about the suspects: {}.", load_words(run.load));
  const std::vector<Family> families = fault_families(car, DriveState{run.gear, Clutch::engaged}, *rates);
  const std::vector<Heard> heard = heard_in(car, hypotheses, families, run);
  const auto name = [&](std::size_t i) {
    const Part* part = car.part(hypotheses[i].part);
    return part && !part->name.empty() ? part->name : hypotheses[i].part;
  };
  const auto strength = [&](std::size_t i) {
    return !heard[i].family           ? std::string("silent")
           : heard[i].loudness > 0.7  ? "loud"
           : heard[i].loudness > 0.35 ? "quieter"
                                      : "faint";
  };
  return fmt::format("Here the {} would be {} and the {} {}.", name(0), strength(0), name(1), strength(1));
}

}  // namespace

std::vector<NextRun> feasible_runs(const Car& car, const RunLimits& limits) {
  std::vector<NextRun> runs;
  const Length circumference = car.tyre.rolling_circumference;
  const auto within = [&](Speed speed, double ratio) {
    const double rpm = (speed / circumference).value() * ratio * 60.0;
    return speed >= limits.slowest && speed <= limits.fastest && rpm >= limits.engine_low_rpm &&
           rpm <= limits.engine_high_rpm;
  };
  for (const Gear& gear : car.gears) {
    const auto ratio = overall_ratio(car, gear);
    if (gear.neutral() || gear.label == "R" || !ratio) continue;
    for (const double kmh : speeds_kmh) {
      const Speed speed(kmh / 3.6);
      if (!within(speed, std::abs(*ratio))) continue;
      for (const Load load : {Load::drive, Load::floating, Load::coast})
        runs.push_back({gear, load, Turn::straight, speed, limits.duration, 0.0, {}});
    }
    const Speed bend(bend_speed_kmh / 3.6);
    if (limits.turns_allowed && within(bend, std::abs(*ratio)))
      for (const Turn turn : {Turn::left, Turn::right})
        runs.push_back({gear, Load::floating, turn, bend, limits.duration, 0.0, {}});
  }
  runs.push_back({Gear{"N"},
                  Load::neutral,
                  Turn::straight,
                  Speed(std::min(neutral_speed_kmh / 3.6, limits.fastest.value())),
                  limits.duration,
                  0.0,
                  {}});
  return runs;
}

double expected_entropy_drop(const Car& car, const std::vector<Hypothesis>& hypotheses, const NextRun& run) {
  const DriveState state{run.gear, Clutch::engaged};
  const auto rates = shaft_rates(car, state);
  if (!rates) return 0.0;
  const std::vector<Family> families = fault_families(car, state, *rates);
  const std::vector<Heard> heard = heard_in(car, hypotheses, families, run);
  std::vector<std::vector<double>> outcomes;
  std::vector<double> weight;
  double rest = 1.0;
  for (std::size_t i = 0; i < heard.size(); ++i) {
    outcomes.push_back(outcome(heard, heard[i]));
    weight.push_back(hypotheses[i].probability.value());
    rest -= weight.back();
  }
  outcomes.emplace_back(heard.size(), 0.0);  // no fault: nothing is raised
  weight.push_back(std::max(rest, 1e-6));
  double drop = 0.0;
  for (std::size_t i = 0; i < outcomes.size(); ++i) {
    if (weight[i] <= 0.0) continue;
    double confusable = 0.0;
    for (std::size_t k = 0; k < outcomes.size(); ++k)
      confusable += weight[k] * std::exp(-distance_squared(outcomes[i], outcomes[k]) / 8.0);
    drop -= weight[i] * std::log(confusable);
  }
  return std::max(0.0, drop);
}

std::optional<NextRun> best_next_run(const Car& car, const std::vector<Hypothesis>& hypotheses,
                                     const RunLimits& limits) {
  std::optional<NextRun> best;
  for (NextRun run : feasible_runs(car, limits)) {
    run.expected_entropy_drop = expected_entropy_drop(car, hypotheses, run);
    if (run.expected_entropy_drop < least_worth) continue;
    if (!best || run.expected_entropy_drop > best->expected_entropy_drop + 1e-9) best = std::move(run);
  }
  if (best) best->because = why(car, hypotheses, *best);
  return best;
}

}  // namespace gearhark
