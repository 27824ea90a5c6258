// Whether the planner's expected drop in entropy goes with what the detector gets out of synthesised runs.
//   calibration_plan [LEVEL_DB [SEEDS]]   CSV on standard output, correlations on standard error
// Four bearings of an invented car, one of them bad in turn, equally likely; single runs of 14 s. Measured:
// the drop from ln 4 to the mean entropy of the ranking of these four, and the mean log probability of the
// true one over 1/4 (what was really learnt).
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <numeric>

#include "../synthesis/small_car.hpp"
#include "gearhark/diagnosis/hearing.hpp"
#include "gearhark/diagnosis/next_run.hpp"
#include "gearhark/diagnosis/ranking.hpp"
#include "gearhark/synthesis/synthesis.hpp"

namespace {

using namespace gearhark;

constexpr Seconds duration{14.0};
const std::vector<std::string> suspects{"input_front", "pinion_head", "layshaft_front", "wheel_right"};

std::vector<NextRun> runs_to_try() {
  std::vector<NextRun> runs;
  const auto add = [&](const char* gear, Load load, Turn turn, double kmh) {
    runs.push_back({Gear{gear}, load, turn, Speed(kmh / 3.6), duration, 0.0, {}, Clutch::engaged});
  };
  add("1", Load::drive, Turn::straight, 30);
  add("3", Load::drive, Turn::straight, 55);
  add("3", Load::floating, Turn::straight, 55);
  add("3", Load::coast, Turn::straight, 60);
  add("4", Load::drive, Turn::straight, 60);
  add("4", Load::floating, Turn::straight, 60);
  add("3", Load::floating, Turn::left, 40);
  add("3", Load::floating, Turn::right, 40);
  add("N", Load::neutral, Turn::straight, 60);
  return runs;
}

std::vector<RunSound> synthesised(const Car& car, const NextRun& run, const std::string& bad, double level_db,
                                  std::uint64_t seed) {
  SoundSettings settings;
  settings.run.gear = run.gear;
  settings.run.load = run.load;
  settings.run.turn = run.turn;
  settings.run.speed = settings.run.end_speed = run.speed;
  settings.run.duration = run.duration;
  const bool slows = run.load == Load::coast || run.load == Load::neutral;
  if (slows) settings.run.course = Course::coast_down;
  settings.fault = SoundFault{bad, Fault::outer_race, Decibels::already(level_db), {}, 0.01, Extent::point};
  settings.car_seed = seed;
  settings.run_seed = 10 * seed;
  auto sound = synthesise(car, settings);
  if (!sound) {
    fmt::print(stderr, "{}\n", sound.error().sentence);
    std::exit(1);
  }
  RunSound heard;
  heard.run.gear = run.gear;
  heard.run.load = run.load;
  heard.run.turn = run.turn;
  const SoundTruth& truth = sound->truth;
  const auto half_second = static_cast<std::size_t>(0.5 / truth.motion.step_s);
  const auto& wheel = truth.motion.wheel;
  const auto reading = [&](double turns) {
    return Speed(1.03 * turns / 0.5 * truth.rolling_circumference.value());
  };
  heard.run.speed.points = {{Seconds(0.0), reading(wheel[half_second] - wheel[0])}};
  if (slows)
    heard.run.speed.points.push_back(
        {duration, reading(wheel.back() - wheel[wheel.size() - 1 - half_second])});
  heard.recording.sample_rate = sound->sample_rate;
  heard.recording.samples = std::move(sound->samples);
  std::vector<RunSound> one;
  one.push_back(std::move(heard));
  return one;
}

// Probabilities of the suspects by the ranking's evidence, equally likely beforehand.
std::vector<double> posterior(const Car& car, const std::vector<RunSound>& sounds) {
  const Hearing hearing = hear(car, sounds);
  const Ranking ranking = rank(car, hearing.candidates);
  std::vector<double> p;
  for (const std::string& id : suspects) {
    const auto at = std::find_if(ranking.parts.begin(), ranking.parts.end(),
                                 [&](const RankedPart& part) { return part.part == id; });
    p.push_back(at == ranking.parts.end() ? 1.0 : std::exp(at->evidence));
  }
  const double sum = std::accumulate(p.begin(), p.end(), 0.0);
  for (double& value : p) value /= sum;
  return p;
}

double correlation(const std::vector<double>& x, const std::vector<double>& y) {
  const auto n = static_cast<double>(x.size());
  const double mx = std::accumulate(x.begin(), x.end(), 0.0) / n,
               my = std::accumulate(y.begin(), y.end(), 0.0) / n;
  double xy = 0.0, xx = 0.0, yy = 0.0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    xy += (x[i] - mx) * (y[i] - my);
    xx += (x[i] - mx) * (x[i] - mx);
    yy += (y[i] - my) * (y[i] - my);
  }
  return xy / std::sqrt(xx * yy);
}

std::vector<double> ranks(const std::vector<double>& x) {
  std::vector<double> out;
  for (const double value : x)
    out.push_back(
        static_cast<double>(std::count_if(x.begin(), x.end(), [&](double v) { return v < value; })));
  return out;
}

}  // namespace

int main(int count, char** words) {
  const double level_db = count > 1 ? std::strtod(words[1], nullptr) : -4.0;
  const std::uint64_t seeds = count > 2 ? std::strtoull(words[2], nullptr, 10) : 1;
  const Car car = twin_car();
  std::vector<Hypothesis> hypotheses;
  for (const std::string& id : suspects)
    hypotheses.push_back({id, Fault::outer_race, Probability(1.0 / static_cast<double>(suspects.size()))});
  std::vector<double> expected, dropped, learnt;
  fmt::print("gear,load,turn,expected,entropy_drop,learnt\n");
  for (const NextRun& run : runs_to_try()) {
    double entropy = 0.0, score = 0.0, tests = 0.0;
    for (std::uint64_t seed = 1; seed <= seeds; ++seed)
      for (std::size_t bad = 0; bad < suspects.size(); ++bad) {
        const auto p = posterior(car, synthesised(car, run, suspects[bad], level_db, seed));
        for (const double value : p) entropy -= value > 0.0 ? value * std::log(value) : 0.0;
        score += std::log(std::max(p[bad], 1e-6));
        tests += 1.0;
      }
    const double before = std::log(static_cast<double>(suspects.size()));
    expected.push_back(expected_entropy_drop(car, hypotheses, std::vector<NextRun>{run}));
    dropped.push_back(before - entropy / tests);
    learnt.push_back(before + score / tests);
    fmt::print("{},{},{},{:.3f},{:.3f},{:.3f}\n", run.gear.label, to_text(run.load), to_text(run.turn),
               expected.back(), dropped.back(), learnt.back());
    std::fflush(stdout);
  }
  fmt::print(stderr,
             "correlation with the entropy drop: {:.2f} (ranks {:.2f}); with what was learnt: {:.2f} (ranks "
             "{:.2f})\n",
             correlation(expected, dropped), correlation(ranks(expected), ranks(dropped)),
             correlation(expected, learnt), correlation(ranks(expected), ranks(learnt)));
}
