#include "votes.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <deque>
#include <limits>

#include "wide/wide.hpp"

namespace gearhark::tracking {
namespace {

// The vote of a line with prior visibility p.
CodeTable vote_table(double p) {
  static const std::array<double, 256> factors = [] {
    std::array<double, 256> all{};
    for (std::size_t c = 0; c < all.size(); ++c)
      all[c] = std::exp(BayesCode::log_factor(static_cast<std::uint8_t>(c)));
    return all;
  }();
  CodeTable table{};
  for (std::size_t c = 0; c < table.size(); ++c)
    table[c] = static_cast<float>(kVoteWeight * std::log(1.0 - p + p * factors[c]));
  return table;
}

// Many lines are as likely to be visible; for each likelihood one table.
class VoteTables {
 public:
  const CodeTable& operator()(double visible) {
    for (const auto& [p, table] : tables_)
      if (p == visible) return table;
    return tables_.emplace_back(visible, vote_table(visible)).second;
  }

 private:
  std::deque<std::pair<double, CodeTable>> tables_;
};

// Random-walk kernel between two frames, in grid steps; symmetric, sums to 1.
std::vector<double> walk_kernel(double sd_steps) {
  const int reach = std::max(1, static_cast<int>(std::ceil(3.5 * sd_steps)));
  std::vector<double> kernel(static_cast<std::size_t>(2 * reach + 1));
  double sum = 0.0;
  for (int k = -reach; k <= reach; ++k)
    sum += kernel[static_cast<std::size_t>(k + reach)] = std::exp(-0.5 * k * k / (sd_steps * sd_steps));
  for (double& weight : kernel) weight /= sum;
  return kernel;
}

// Beliefs with room for zeros on both sides, spread out by a kernel.
class Spreading {
 public:
  Spreading(std::vector<double> kernel, std::size_t size)
      : kernel_(std::move(kernel)), reach_(kernel_.size() / 2), padded_(size + 2 * reach_, 0.0) {}
  void operator()(std::vector<double>& belief) {
    std::copy(belief.begin(), belief.end(), padded_.begin() + static_cast<std::ptrdiff_t>(reach_));
    wide().convolve(padded_.data(), kernel_.data(), kernel_.size(), belief.size(), belief.data());
  }

 private:
  std::vector<double> kernel_;
  std::size_t reach_;
  std::vector<double> padded_;
};

// Multiplies by likelihoods, rescales to sum 1 and returns the log of what was divided out.
double absorb(std::vector<double>& belief, std::span<const double> likelihood) {
  const auto size = static_cast<Eigen::Index>(belief.size());
  Eigen::Map<Eigen::ArrayXd> held(belief.data(), size);
  held *= Eigen::Map<const Eigen::ArrayXd>(likelihood.data(), size);
  double sum = held.sum();
  if (!(sum > 0.0)) sum = 1e-300;
  held *= 1.0 / sum;
  return std::log(sum);
}

double sd_in_steps(const Votes& votes, const WalkSettings& walk) {
  return walk.sd_per_root_s * std::sqrt(votes.frame_step_s) / votes.grid.step;
}

}  // namespace

Grid grid_between(double low, double high, double step) {
  const double from = std::floor(low / step), to = std::ceil(high / step);
  return {from * step, step, static_cast<std::size_t>(to - from) + 1};
}

namespace {

// Where a line lies at every step of a grid: bins, and the steps [from, to) at which it is listened to.
struct LineBins {
  std::vector<std::uint32_t> bin;
  std::size_t from = 0, to = 0;
};
LineBins bins_of(const TrackingLine& line, const Ratios& ratios, double mean_rate, const Grid& grid) {
  LineBins out{std::vector<std::uint32_t>(grid.size), 0, 0};
  const double hz = line.order * mean_rate;
  for (std::size_t j = 0; j < grid.size; ++j) {
    const double f = hz * (1.0 + grid.at(j));
    if (f < ratios.lowest_hz) out.from = j + 1;
    if (f <= ratios.highest_hz) out.to = j + 1;
    out.bin[j] = static_cast<std::uint32_t>(std::min(f, ratios.highest_hz) / ratios.bin_hz + 0.5);
  }
  return out;
}

// As many frames at once as keep the votes for all steps in the nearest cache.
constexpr std::size_t few_frames = 32;
using FewFrames = std::array<float, few_frames>;

// Neighbouring steps often share a bin, and then the votes of a line.
void add_votes(const Ratios& ratios, std::size_t first, std::size_t count, const CodeTable& table,
               const LineBins& at, std::vector<FewFrames>& by_step) {
  FewFrames here{};
  for (std::size_t j = at.from; j < at.to;) {
    const std::uint32_t bin = at.bin[j];
    const std::uint8_t* codes = ratios.of_bin(bin).data() + first;
    for (std::size_t i = 0; i < count; ++i) here[i] = table[codes[i]];
    for (; j < at.to && at.bin[j] == bin; ++j)
      for (std::size_t i = 0; i < few_frames; ++i) by_step[j][i] += here[i];
  }
}

// None of four sums waits for another.
double sum_of_votes(std::span<const std::uint8_t> codes, const CodeTable& table) {
  std::array<float, 4> sums{};
  std::size_t i = 0;
  for (; i + 4 <= codes.size(); i += 4)
    for (std::size_t k = 0; k < 4; ++k) sums[k] += table[codes[i + k]];
  for (; i < codes.size(); ++i) sums[0] += table[codes[i]];
  return static_cast<double>((sums[0] + sums[1]) + (sums[2] + sums[3]));
}

}  // namespace

Likelihoods::Likelihoods(const Votes& votes, const WalkSettings& walk)
    : size(votes.grid.size), rows(votes.nats.size()) {
  Eigen::ArrayXd prior(static_cast<Eigen::Index>(size));
  for (std::size_t j = 0; j < size; ++j) {
    const double z = (votes.grid.at(j) - walk.prior_mean) / walk.prior_sd;
    prior[static_cast<Eigen::Index>(j)] = 0.5 * z * z / static_cast<double>(votes.frames);
  }
  for (std::size_t i = 0; i < votes.frames; ++i) {
    const Eigen::Map<const Eigen::ArrayXf> nats(votes.frame(i).data(), prior.size());
    Eigen::Map<Eigen::ArrayXd> out(rows.data() + i * size, prior.size());
    const double best = static_cast<double>(nats.maxCoeff());
    out = (nats.cast<double>() - best - prior).exp();
    log_best += best;
  }
}

Votes cast_votes(const Ratios& ratios, double mean_rate, std::span<const TrackingLine> lines,
                 const Grid& grid) {
  Votes votes{grid, ratios.frames, ratios.frame_step_s, std::vector<float>(ratios.frames * grid.size)};
  VoteTables table_of;
  std::vector<const CodeTable*> tables;
  std::vector<LineBins> bins;
  for (const TrackingLine& line : lines) {
    tables.push_back(&table_of(line.visible));
    bins.push_back(bins_of(line, ratios, mean_rate, grid));
  }
  std::vector<FewFrames> by_step(grid.size);
  for (std::size_t first = 0; first < ratios.frames; first += few_frames) {
    const std::size_t count = std::min(few_frames, ratios.frames - first);
    std::fill(by_step.begin(), by_step.end(), FewFrames{});
    for (std::size_t l = 0; l < lines.size(); ++l)
      add_votes(ratios, first, count, *tables[l], bins[l], by_step);
    for (std::size_t i = 0; i < count; ++i)
      for (std::size_t j = 0; j < grid.size; ++j) votes.nats[(first + i) * grid.size + j] = by_step[j][i];
  }
  return votes;
}

SummedVotes::Sums& SummedVotes::at(double visible) {
  for (Sums& sums : sums_)
    if (sums.visible == visible) return sums;
  constexpr double not_summed = std::numeric_limits<double>::quiet_NaN();
  return sums_.emplace_back(
      Sums{visible, vote_table(visible), std::vector<double>(ratios_->bins, not_summed)});
}

std::vector<double> SummedVotes::of(double mean_rate, std::span<const TrackingLine> lines, const Grid& grid) {
  std::vector<double> out(grid.size, 0.0);
  for (const TrackingLine& line : lines) {
    const LineBins bins = bins_of(line, *ratios_, mean_rate, grid);
    Sums& sums = at(line.visible);
    for (std::size_t j = bins.from; j < bins.to; ++j) {
      double& sum = sums.of_bin[bins.bin[j]];
      if (std::isnan(sum)) sum = sum_of_votes(ratios_->of_bin(bins.bin[j]), sums.table);
      out[j] += sum;
    }
  }
  return out;
}

std::vector<double> summed_votes(const Ratios& ratios, double mean_rate, std::span<const TrackingLine> lines,
                                 const Grid& grid) {
  return SummedVotes(ratios).of(mean_rate, lines, grid);
}

std::vector<double> seen_visibility(const Ratios& ratios, double mean_rate,
                                    std::span<const TrackingLine> lines) {
  std::vector<double> seen;
  for (const TrackingLine& line : lines) {
    const double f = line.order * mean_rate;
    if (f < ratios.lowest_hz || f > ratios.highest_hz || ratios.frames == 0) {
      seen.push_back(line.visible);
      continue;
    }
    const auto bin = static_cast<std::size_t>(std::lround(f / ratios.bin_hz));
    double sum = 0.0;
    for (const std::uint8_t code : ratios.of_bin(bin)) {
      const double odds = line.visible * std::exp(BayesCode::log_factor(code));
      sum += odds / (odds + 1.0 - line.visible);
    }
    seen.push_back(sum / static_cast<double>(ratios.frames));
  }
  return seen;
}

Path likeliest_path(const Votes& votes, const Likelihoods& likelihoods, WalkSettings walk) {
  const std::size_t n = votes.frames, m = votes.grid.size;
  Path path{std::vector<double>(n), std::vector<double>(n), likelihoods.log_best};
  Spreading spread(walk_kernel(sd_in_steps(votes, walk)), m);
  std::vector<float> forward(n * m);
  std::vector<double> belief(m, 1.0 / static_cast<double>(m));
  for (std::size_t i = 0; i < n; ++i) {
    if (i > 0) spread(belief);
    path.log_evidence += absorb(belief, likelihoods.frame(i));
    std::copy(belief.begin(), belief.end(), forward.begin() + static_cast<std::ptrdiff_t>(i * m));
  }
  std::fill(belief.begin(), belief.end(), 1.0);
  std::vector<double> posterior(m);
  const auto reach = static_cast<std::ptrdiff_t>(0.005 / votes.grid.step + 0.5);
  for (std::size_t i = n; i-- > 0;) {
    for (std::size_t j = 0; j < m; ++j) posterior[j] = belief[j] * static_cast<double>(forward[i * m + j]);
    const auto mode = std::max_element(posterior.begin(), posterior.end()) - posterior.begin();
    double sum = 0.0, first = 0.0, second = 0.0;
    const auto from = std::max<std::ptrdiff_t>(0, mode - reach);
    const auto to = std::min(static_cast<std::ptrdiff_t>(m) - 1, mode + reach);
    for (auto j = from; j <= to; ++j) {
      const double p = posterior[static_cast<std::size_t>(j)], d = votes.grid.at(static_cast<std::size_t>(j));
      sum += p;
      first += p * d;
      second += p * d * d;
    }
    const double mean = sum > 0.0 ? first / sum : votes.grid.at(static_cast<std::size_t>(mode));
    path.deviation[i] = mean;
    path.sd[i] = std::sqrt(
        std::max(second / std::max(sum, 1e-300) - mean * mean, 0.08 * votes.grid.step * votes.grid.step));
    absorb(belief, likelihoods.frame(i));
    spread(belief);
  }
  return path;
}

double region_evidence(const Votes& votes, const Likelihoods& likelihoods, WalkSettings walk,
                       std::span<const double> centre, double half_width, Region region) {
  const std::size_t m = votes.grid.size;
  Spreading spread(walk_kernel(sd_in_steps(votes, walk)), m);
  std::vector<double> belief(m, 1.0 / static_cast<double>(m)), likelihood(m);
  double log_evidence = likelihoods.log_best;
  for (std::size_t i = 0; i < votes.frames; ++i) {
    if (i > 0) spread(belief);
    const auto all = likelihoods.frame(i);
    for (std::size_t j = 0; j < m; ++j) {
      const bool near = std::abs(votes.grid.at(j) - centre[i]) <= half_width;
      likelihood[j] = near == (region == Region::near_path) ? all[j] : 0.0;
    }
    log_evidence += absorb(belief, likelihood);
  }
  return log_evidence;
}

std::vector<double> smoothed(std::span<const double> values, std::span<const double> weights, double lambda) {
  const std::size_t n = values.size();
  if (n < 3) return {values.begin(), values.end()};
  // Pentadiagonal W + lambda D'D, factored as L D L' in place.
  std::vector<double> d(n), e(n, 0.0), f(n, 0.0), x(n);
  for (std::size_t i = 0; i < n; ++i) {
    d[i] = weights[i];
    x[i] = weights[i] * values[i];
  }
  for (std::size_t i = 0; i + 2 < n; ++i) {
    d[i] += lambda;
    d[i + 1] += 4.0 * lambda;
    d[i + 2] += lambda;
    e[i] -= 2.0 * lambda;
    e[i + 1] -= 2.0 * lambda;
    f[i] += lambda;
  }
  for (std::size_t i = 0; i < n; ++i) {
    const double l1 = e[i] / d[i], l2 = f[i] / d[i];
    if (i + 1 < n) {
      d[i + 1] -= l1 * e[i];
      if (i + 2 < n) e[i + 1] -= l1 * f[i];
      x[i + 1] -= l1 * x[i];
    }
    if (i + 2 < n) {
      d[i + 2] -= l2 * f[i];
      x[i + 2] -= l2 * x[i];
    }
    e[i] = l1;
    f[i] = l2;
  }
  for (std::size_t i = n; i-- > 0;) {
    x[i] /= d[i];
    if (i + 1 < n) x[i] -= e[i] * x[i + 1];
    if (i + 2 < n) x[i] -= f[i] * x[i + 2];
  }
  return x;
}

}  // namespace gearhark::tracking
