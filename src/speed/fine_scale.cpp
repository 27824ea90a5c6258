#include "fine_scale.hpp"

#include <algorithm>
#include <cmath>

namespace gearhark::tracking {
namespace {

constexpr double kTyreSpread = 0.002, kTyreReach = 0.006;  // radii of one car's tyres, relative
constexpr double kRival = 0.005;

std::vector<double> sums_of(const Ratios& ratios, double mean_rate, std::span<const TrackingLine> lines,
                            const Grid& grid, bool tread) {
  std::vector<TrackingLine> chosen;
  for (const TrackingLine& line : lines)
    if ((line.source == LineSource::tread) == tread && line.visible > 0.09 * !tread) chosen.push_back(line);
  return summed_votes(ratios, mean_rate, chosen, grid);
}

// log of the mean of exp(sums) over the spread of tyre radii.
std::vector<double> over_tyres(const std::vector<double>& sums, double step) {
  const auto reach = static_cast<std::ptrdiff_t>(kTyreReach / step),
             n = static_cast<std::ptrdiff_t>(sums.size());
  std::vector<double> weight, out(sums.size());
  double total = 0.0;
  for (std::ptrdiff_t k = -reach; k <= reach; ++k) {
    const double z = static_cast<double>(k) * step / kTyreSpread;
    weight.push_back(std::exp(-0.5 * z * z));
    total += weight.back();
  }
  for (std::ptrdiff_t j = 0; j < n; ++j) {
    const auto from = std::max<std::ptrdiff_t>(0, j - reach), to = std::min(n - 1, j + reach);
    const double top = *std::max_element(sums.begin() + from, sums.begin() + to + 1);
    double sum = 0.0;
    for (auto k = from; k <= to; ++k)
      sum +=
          weight[static_cast<std::size_t>(k - j + reach)] * std::exp(sums[static_cast<std::size_t>(k)] - top);
    out[static_cast<std::size_t>(j)] = top + std::log(sum / total);
  }
  return out;
}

double best_beyond(const std::vector<double>& score, const Grid& grid, double centre, double from,
                   double to) {
  double best = -1e300;
  for (std::size_t j = 0; j < grid.size; ++j) {
    const double away = std::abs(grid.at(j) - centre);
    if (away > from && away < to) best = std::max(best, score[j]);
  }
  return best;
}

}  // namespace

ScaleGuess fine_scale(const FlatSound& flat, std::span<const TrackingLine> lines, const Grid& grid,
                      double prior_mean, double prior_sd) {
  const double window = flat.duration() > 12.0 ? 2.0 : 1.0;
  const Ratios ratios = line_ratios(flat, {window, window / 4.0});
  const std::vector<double> gears = sums_of(ratios, flat.mean_rate, lines, grid, false);
  std::vector<double> score = over_tyres(sums_of(ratios, flat.mean_rate, lines, grid, true), grid.step);
  for (std::size_t j = 0; j < grid.size; ++j) {
    const double z = (grid.at(j) - prior_mean) / prior_sd;
    score[j] += gears[j] - 0.5 * z * z;
  }
  const auto top = static_cast<std::size_t>(std::max_element(score.begin(), score.end()) - score.begin());
  ScaleGuess guess;
  guess.score = score[top];
  double sum = 0.0, first = 0.0, second = 0.0;
  for (std::size_t j = 0; j < grid.size; ++j) {
    const double d = grid.at(j) - grid.at(top);
    if (std::abs(d) > 0.003) continue;
    const double p = std::exp(score[j] - score[top]);
    sum += p;
    first += p * d;
    second += p * d * d;
  }
  guess.deviation = grid.at(top) + first / sum;
  guess.sd = std::sqrt(std::max(0.0, second / sum - first * first / (sum * sum)));
  guess.margin = score[top] - best_beyond(score, grid, guess.deviation, kRival, 1e9);
  guess.gears = gears[top] - best_beyond(gears, grid, guess.deviation, 0.003, 0.008);
  return guess;
}

}  // namespace gearhark::tracking
