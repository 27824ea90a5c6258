#include "curves.hpp"

#include <algorithm>
#include <cmath>

namespace gearhark::tracking {
namespace {

constexpr double kBowStep = 0.005, kBowReach = 0.02;  // about each flattening's own bow
constexpr double kSlopeStep = 0.003, kSlopeReach = 0.03;
constexpr double kGridStep = 0.001;

// 4 u (1 - u) and u - 1/2, at a share u of the recording.
double bow_at(double u) { return 4.0 * u * (1.0 - u); }
constexpr double kMeanBow = 2.0 / 3.0;

struct Curve {
  double level = 0.0, slope = 0.0, bow = 0.0;
  [[nodiscard]] double at(double u) const { return level + slope * (u - 0.5) + bow * bow_at(u); }
  [[nodiscard]] double mean() const { return level + kMeanBow * bow; }
};

AngleTrack bent(const AngleTrack& nominal, const Curve& curve) {
  std::vector<double> rates(nominal.turns.size());
  for (std::size_t i = 0; i < rates.size(); ++i) {
    const double t = static_cast<double>(i) * nominal.step_s;
    rates[i] = nominal.rate_at(t) * (1.0 + curve.at(t / nominal.duration()));
  }
  return integrate(rates, nominal.step_s);
}

double log_prior(const Curve& curve, const RatePrior& prior) {
  const double a = (curve.level - prior.mean) / prior.sd, b = curve.slope / prior.curve.slope_sd,
               c = (curve.bow - prior.curve.bow_mean) / prior.curve.bow_sd;
  return -0.5 * (a * a + b * b + c * c);
}

// Best score for every mean deviation, on the grid of the votes.
struct Profile {
  std::vector<double> score;
  std::vector<Curve> curve;
};

}  // namespace

MeanPrior mean_prior(const RatePrior& prior) {
  const CurvePrior& curve = prior.curve;
  const double middle = kMeanBow * curve.bow_mean, reach = kMeanBow * 1.5 * curve.bow_sd;
  return {prior.mean + middle, std::hypot(prior.sd, kMeanBow * curve.bow_sd), prior.low + middle - reach,
          prior.high + middle + reach};
}

std::vector<CurveGuess> best_curves(const Sound& sound, std::span<const TrackingLine> lines,
                                    const RatePrior& prior) {
  const MeanPrior over = mean_prior(prior);
  const Grid means = grid_between(over.low, over.high, kGridStep);
  Profile best{std::vector<double>(means.size, -1e300), std::vector<Curve>(means.size)};
  const double middle = std::round(prior.curve.bow_mean / 0.04) * 0.04;
  const double reach = 2.0 * prior.curve.bow_sd;
  for (double bow0 = middle - 0.08; bow0 < middle + 0.09; bow0 += 0.04) {
    if (std::abs(bow0 - prior.curve.bow_mean) > reach + 0.02) continue;
    const Curve base{-kMeanBow * bow0, 0.0, bow0};  // the mean stays where it was
    const FlatSound flat = flatten(sound, bent(prior.nominal, base));
    const Ratios ratios = line_ratios(flat, {});
    const double span = 0.5 * kSlopeReach + kBowReach;
    const Votes votes =
        cast_votes(ratios, flat.mean_rate, lines, grid_between(over.low - span, over.high + span, kGridStep));
    const auto n = static_cast<std::ptrdiff_t>(votes.grid.size);
    std::vector<double> u(votes.frames), stretch(votes.frames);
    for (std::size_t i = 0; i < votes.frames; ++i) {
      const double t = flat.track.time_of(ratios.time_of(i) * flat.mean_rate, ratios.time_of(i));
      u[i] = t / flat.track.duration();
      // d relative to the nominal rate is this much smaller relative to the bent one.
      stretch[i] = 1.0 / (1.0 + base.at(u[i]));
    }
    std::vector<double> sums(means.size);
    std::vector<std::ptrdiff_t> shift(votes.frames);
    for (double bow = -kBowReach; bow < kBowReach + 1e-9; bow += kBowStep)
      for (double slope = -kSlopeReach; slope < kSlopeReach + 1e-9; slope += kSlopeStep) {
        std::fill(sums.begin(), sums.end(), 0.0);
        const Curve extra{-kMeanBow * bow, slope, bow};
        const double first = (means.low - votes.grid.low) / kGridStep;
        for (std::size_t i = 0; i < votes.frames; ++i) {
          const auto at =
              static_cast<std::ptrdiff_t>(std::lround(first + extra.at(u[i]) * stretch[i] / kGridStep));
          const float* nats = votes.nats.data() + i * votes.grid.size;
          const auto from = std::max<std::ptrdiff_t>(0, -at),
                     to = std::min(static_cast<std::ptrdiff_t>(means.size), n - at);
          for (auto j = from; j < to; ++j)
            sums[static_cast<std::size_t>(j)] += static_cast<double>(nats[at + j]);
        }
        for (std::size_t j = 0; j < means.size; ++j) {
          const Curve whole{means.at(j) + base.level + extra.level, slope, bow0 + bow};
          const double score = sums[j] + log_prior(whole, prior);
          if (score > best.score[j]) {
            best.score[j] = score;
            best.curve[j] = whole;
          }
        }
      }
  }
  std::vector<CurveGuess> out;
  std::vector<double> taken;
  while (out.size() < 4) {
    std::size_t top = means.size;
    for (std::size_t j = 0; j < means.size; ++j) {
      const auto near = [&](double mean) { return std::abs(mean - means.at(j)) < 0.008; };
      if (std::none_of(taken.begin(), taken.end(), near) &&
          (top == means.size || best.score[j] > best.score[top]))
        top = j;
    }
    if (top == means.size) break;
    taken.push_back(means.at(top));
    out.push_back({bent(prior.nominal, best.curve[top]), best.score[top]});
  }
  return out;
}

}  // namespace gearhark::tracking
