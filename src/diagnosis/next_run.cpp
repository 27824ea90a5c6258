#include "gearhark/diagnosis/next_run.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "outcomes.hpp"

namespace gearhark {
namespace {

constexpr double least_worth = 0.02;  // nats: below this a run is not worth the petrol
constexpr Seconds steady{30.0}, slowing{15.0}, rolling{20.0}, bend{20.0};

// Figures that a needle shows.
struct RoundSpeeds {
  double unit;  // m/s
  std::vector<double> in_gear;
  double in_bend, in_neutral;
  double comfortable;  // of runs that tell as much, the one nearest to this
};
RoundSpeeds round_speeds(SpeedUnit unit) {
  if (unit == SpeedUnit::mph) return {0.44704, {20, 30, 40, 45, 50, 55, 60, 65, 70}, 25, 45, 40};
  return {1.0 / 3.6, {30, 40, 50, 60, 70, 80, 90, 100, 110}, 40, 70, 60};
}

// `wanted` where the limit allows it, else the fastest round figure that it does, else the limit.
Speed at_most(double wanted, const RoundSpeeds& speeds, Speed fastest) {
  if (Speed(wanted * speeds.unit) <= fastest) return Speed(wanted * speeds.unit);
  Speed best;
  for (const double figure : speeds.in_gear)
    if (Speed(figure * speeds.unit) <= fastest) best = Speed(figure * speeds.unit);
  return best > Speed(0.0) ? best : fastest;
}

void add_gear(std::vector<NextRun>& runs, const Car& car, const Gear& gear, const RoundSpeeds& speeds,
              const RunLimits& limits) {
  const auto ratio = overall_ratio(car, gear);
  if (gear.neutral() || gear.label == "R" || !ratio) return;
  const auto within = [&](Speed speed) {
    const double rpm = (speed / car.tyre.rolling_circumference).value() * std::abs(*ratio) * 60.0;
    return speed >= limits.slowest && speed <= limits.fastest && rpm >= limits.engine_low_rpm &&
           rpm <= limits.engine_high_rpm;
  };
  for (const double figure : speeds.in_gear) {
    const Speed speed(figure * speeds.unit);
    if (!within(speed)) continue;
    for (const Load load : {Load::drive, Load::floating, Load::coast})
      runs.push_back({gear,
                      load,
                      Turn::straight,
                      speed,
                      load == Load::coast ? slowing : steady,
                      0.0,
                      {},
                      Clutch::engaged});
  }
  const Speed in_bend(speeds.in_bend * speeds.unit);
  if (!limits.turns_allowed || !within(in_bend)) return;
  for (const Turn turn : {Turn::left, Turn::right})
    runs.push_back({gear, Load::floating, turn, in_bend, bend, 0.0, {}, Clutch::engaged});
}

bool has_release_bearing(const Car& car) {
  return std::any_of(car.parts.begin(), car.parts.end(),
                     [](const Part& part) { return part.role == PartRole::release_bearing; });
}

// Faults of more than this many parts are no short list: the reason names those it tells most about.
constexpr std::size_t short_list = 4;

// That two parts are told apart is the better reason than that one is heard.
constexpr double against_silence = 0.3;
constexpr double other_fault = 0.5;  // and like is better compared with like

struct Reasons {
  const Car& car;
  std::span<const Hypothesis> hypotheses;
  std::vector<double> weight;

  [[nodiscard]] std::string name(std::size_t i) const {
    const std::string part = "the " + part_name(car, hypotheses[i].part);
    const bool several = std::any_of(hypotheses.begin(), hypotheses.end(), [&](const Hypothesis& other) {
      return other.part == hypotheses[i].part && other.fault != hypotheses[i].fault;
    });
    return several ? fmt::format("{} ({})", part, to_text(hypotheses[i].fault)) : part;
  }
  [[nodiscard]] bool one_part(std::size_t i, std::size_t k) const {
    return i < hypotheses.size() && k < hypotheses.size() && hypotheses[i].part == hypotheses[k].part;
  }
  [[nodiscard]] bool same_fault(std::size_t i, std::size_t k) const {
    return hypotheses[i].fault == hypotheses[k].fault;
  }
  // How much less the pair can be taken for one another with the run than without.
  [[nodiscard]] double gain(std::size_t i, std::size_t k, const Outcomes& before,
                            const Outcomes& after) const {
    const double worth = k == hypotheses.size() ? against_silence
                         : one_part(i, k)       ? 0.0
                         : same_fault(i, k)     ? 1.0
                                                : other_fault;
    return worth * weight[i] * weight[k] * (before.confusable(i, k) - after.confusable(i, k));
  }
};

std::string loudness(const HeardFault& heard) {
  const double share = heard.strength / full_evidence;
  return heard.strength <= 0.0 ? "silent" : share > 0.55 ? "loud" : share > 0.25 ? "quieter" : "faint";
}

// The parts that a run tells most about, where there are many.
std::string told_most(const Reasons& r, const Outcomes& before, const Outcomes& after) {
  std::map<std::string, double> gains;
  for (std::size_t i = 0; i < r.hypotheses.size(); ++i)
    for (std::size_t k = 0; k < r.weight.size(); ++k)
      gains[r.hypotheses[i].part] += r.gain(i, k, before, after);
  std::vector<std::pair<double, std::string>> sorted;
  for (const auto& [part, gain] : gains) sorted.emplace_back(-gain, part_name(r.car, part));
  std::sort(sorted.begin(), sorted.end());
  return fmt::format("It tells most about the {}, the {} and the {}.", sorted[0].second, sorted[1].second,
                     sorted[2].second);
}

constexpr double alike = 0.3;  // share of a comb above which two are judged by loudness, not by place

std::string about_pair(const Reasons& r, const std::vector<HeardFault>& heard, std::size_t i, std::size_t k) {
  if (heard[i].strength < heard[k].strength) std::swap(i, k);
  const HeardFault &a = heard[i], &b = heard[k];
  if (b.strength <= 0.0)
    return fmt::format("Here {} would be {}, and {} silent.", r.name(i), loudness(a), r.name(k));
  if (b.strength < 0.5 * a.strength)
    return fmt::format("Here {} would be {} and {} {}.", r.name(i), loudness(a), r.name(k), loudness(b));
  const bool nameable = a.fundamental > Hertz(0.0) && b.fundamental > Hertz(0.0) &&
                        std::abs(a.fundamental.value() - b.fundamental.value()) > 1.5;
  if (raised(a, b) <= alike && !nameable)
    return fmt::format("Here the lines of {} and {} lie apart.", r.name(i), r.name(k));
  if (raised(a, b) > alike)
    return fmt::format("Much of both falls together, but {} would be {} here and {} {}.", r.name(i),
                       loudness(a), r.name(k), loudness(b));
  return fmt::format("Here {} and {} lie apart, at about {:.0f} and {:.0f} Hz.", r.name(i), r.name(k),
                     a.fundamental.value(), b.fundamental.value());
}

std::string why(const Reasons& r, const std::vector<HeardFault>& heard, const Outcomes& before,
                const Outcomes& after) {
  std::map<std::string_view, double> likely;
  for (std::size_t i = 0; i < r.hypotheses.size(); ++i) likely[r.hypotheses[i].part] += r.weight[i];
  const auto count = std::count_if(likely.begin(), likely.end(), [&](const auto& part) {
    return part.second > 0.5 / static_cast<double>(likely.size());
  });
  if (static_cast<std::size_t>(count) > short_list) return told_most(r, before, after);
  std::size_t best_i = 0, best_k = before.no_fault();
  for (std::size_t i = 0; i < r.hypotheses.size(); ++i)
    for (std::size_t k = i + 1; k < r.weight.size(); ++k)
      if (r.gain(i, k, before, after) > r.gain(best_i, best_k, before, after)) {
        best_i = i;
        best_k = k;
      }
  if (best_k == before.no_fault())
    return fmt::format("Here {}, if it is bad, would be {}.", r.name(best_i), loudness(heard[best_i]));
  return about_pair(r, heard, best_i, best_k);
}

bool same_state(const NextRun& a, const NextRun& b) {
  return a.gear == b.gear && a.load == b.load && a.turn == b.turn && a.clutch == b.clutch;
}

// A run that might be chosen.
struct Choice {
  NextRun run;
  std::vector<HeardFault> heard;
  Outcomes outcomes;
  double collision = 0.0;
  double appeal = 1.0;  // besides what it tells
  double gain = 0.0;    // added to the runs chosen so far, nats
};

// A run that tells a little less at a handier speed is the better one; one in which likely suspects coincide
// may raise the wrong one, and is taken only for want of a better.
std::vector<Choice> choices_for(const Car& car, std::span<const Hypothesis> hypotheses,
                                const RunLimits& limits) {
  const RoundSpeeds speeds = round_speeds(limits.unit);
  Foreseen foreseen(car, hypotheses);
  std::vector<Choice> choices;
  for (NextRun& run : feasible_runs(car, limits)) {
    std::vector<HeardFault> heard = foreseen.heard_in(run);
    Outcomes outcomes(heard);
    const double colliding = collision(heard, hypotheses);
    const double off = std::abs(run.speed.value() / (speeds.comfortable * speeds.unit) - 1.0);
    const double appeal = std::max(0.05, 1.0 - 0.2 * off) * std::max(0.05, 1.0 - colliding);
    choices.push_back({std::move(run), std::move(heard), std::move(outcomes), colliding, appeal, 0.0});
  }
  return choices;
}

}  // namespace

std::vector<NextRun> feasible_runs(const Car& car, const RunLimits& limits) {
  std::vector<NextRun> runs;
  const RoundSpeeds speeds = round_speeds(limits.unit);
  for (const Gear& gear : car.gears) add_gear(runs, car, gear, speeds, limits);
  NextRun neutral{Gear{"N"},
                  Load::neutral,
                  Turn::straight,
                  at_most(speeds.in_neutral, speeds, limits.fastest),
                  rolling,
                  0.0,
                  {},
                  Clutch::engaged};
  runs.push_back(neutral);
  neutral.clutch = Clutch::pedal_down;
  if (has_release_bearing(car)) runs.push_back(neutral);
  return runs;
}

double expected_entropy_drop(const Car& car, std::span<const Hypothesis> hypotheses,
                             std::span<const NextRun> runs) {
  Foreseen foreseen(car, hypotheses);
  Outcomes all(hypotheses.size());
  for (const NextRun& run : runs) all += Outcomes(foreseen.heard_in(run));
  return entropy_drop(all, hypotheses);
}

std::vector<NextRun> best_runs(const Car& car, std::span<const Hypothesis> hypotheses,
                               const RunLimits& limits, const Effort& effort) {
  std::vector<Choice> choices = choices_for(car, hypotheses, limits);
  const Reasons reasons{car, hypotheses, weights_of(hypotheses)};
  std::vector<NextRun> chosen;
  Outcomes so_far(hypotheses.size());
  double dropped = 0.0;
  while (chosen.size() < effort.most_runs) {
    for (Choice& choice : choices) choice.gain = entropy_drop(so_far + choice.outcomes, hypotheses) - dropped;
    const auto best = std::max_element(choices.begin(), choices.end(), [](const Choice& a, const Choice& b) {
      return a.gain * a.appeal < b.gain * b.appeal;
    });
    if (best == choices.end() || best->gain < effort.least_gain) break;
    if (!chosen.empty() && best->gain * (1.0 - best->collision) < effort.least_gain) break;
    const Outcomes with = so_far + best->outcomes;
    NextRun run = best->run;
    run.expected_entropy_drop = best->gain;
    run.because = why(reasons, best->heard, so_far, with);
    dropped += best->gain;
    so_far = with;
    std::erase_if(choices, [&](const Choice& choice) { return same_state(choice.run, run); });
    chosen.push_back(std::move(run));
  }
  return chosen;
}

std::optional<NextRun> best_next_run(const Car& car, std::span<const Hypothesis> hypotheses,
                                     const RunLimits& limits) {
  auto runs = best_runs(car, hypotheses, limits, {1, least_worth});
  if (runs.empty()) return std::nullopt;
  return std::move(runs.front());
}

}  // namespace gearhark
