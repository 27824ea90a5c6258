// Votes of the lines for a relative rate deviation, and the likeliest path through them.
#pragma once

#include <array>
#include <optional>
#include <span>
#include <vector>

#include "gearhark/speed/angle_search.hpp"
#include "ratios.hpp"

namespace gearhark::tracking {

// Relative deviations low, low + step, ...
struct Grid {
  double low = 0.0, step = 0.001;
  std::size_t size = 0;
  [[nodiscard]] double at(std::size_t j) const { return low + step * static_cast<double>(j); }
};
Grid grid_between(double low, double high, double step);

// frames x grid, nats.
struct Votes {
  Grid grid;
  std::size_t frames = 0;
  double frame_step_s = 0.0;
  std::vector<float> nats;
  [[nodiscard]] std::span<const float> frame(std::size_t i) const {
    return std::span(nats).subspan(i * grid.size, grid.size);
  }
};

// Neighbouring frames overlap and the model is not exact: a vote counts this much.
inline constexpr double kVoteWeight = 0.35;

// Sum over lines of log(1 - p + p BF), times kVoteWeight; lines outside the band at a deviation say nothing
// there.
Votes cast_votes(const Ratios& ratios, double mean_rate, std::span<const TrackingLine> lines,
                 const Grid& grid);

// A line's vote for every code.
using CodeTable = std::array<float, 256>;

// The same summed over the frames, per grid step.
std::vector<double> summed_votes(const Ratios& ratios, double mean_rate, std::span<const TrackingLine> lines,
                                 const Grid& grid);

// The same for many sets of lines, which fall into the same bins: what was summed once is kept. The ratios
// must outlive it.
class SummedVotes {
 public:
  explicit SummedVotes(const Ratios& ratios) : ratios_(&ratios) {}
  std::vector<double> of(double mean_rate, std::span<const TrackingLine> lines, const Grid& grid);
  [[nodiscard]] double seconds() const {
    return static_cast<double>(ratios_->frames) * ratios_->frame_step_s;
  }

 private:
  struct Sums {
    double visible;
    CodeTable table;
    std::vector<double> of_bin;  // NaN where not summed yet
  };
  Sums& at(double visible);
  const Ratios* ratios_;
  std::vector<Sums> sums_;
};

// Share of the time each line stands above the background at deviation 0, given its prior visibility.
std::vector<double> seen_visibility(const Ratios& ratios, double mean_rate,
                                    std::span<const TrackingLine> lines);

struct Path {
  std::vector<double> deviation;  // per frame
  std::vector<double> sd;         // per frame
  double log_evidence = 0.0;      // nats, all paths together against noise
};

struct WalkSettings {
  double sd_per_root_s = 0.008;             // random walk of the deviation
  double prior_mean = 0.0, prior_sd = 1e9;  // of the deviation over the whole path
};

// exp(votes - best of the frame) with the walk's prior shared out evenly over the frames, frames x grid; what
// was taken off is summed up in log_best.
struct Likelihoods {
  Likelihoods(const Votes& votes, const WalkSettings& walk);
  [[nodiscard]] std::span<const double> frame(std::size_t i) const {
    return std::span(rows).subspan(i * size, size);
  }
  std::size_t size;
  std::vector<double> rows;
  double log_best = 0.0;
};

// Forward-backward over a Gaussian random walk: posterior mean around each frame's mode.
Path likeliest_path(const Votes& votes, const Likelihoods& likelihoods, WalkSettings walk);

// log evidence of all paths that stay within +-half_width of `centre` (inside = true) or that never come
// there.
enum class Region { near_path, away_from_path };
double region_evidence(const Votes& votes, const Likelihoods& likelihoods, WalkSettings walk,
                       std::span<const double> centre, double half_width, Region region);

// Whittaker's smoother: minimises sum weight (x - d)^2 + lambda sum (second difference of x)^2.
std::vector<double> smoothed(std::span<const double> values, std::span<const double> weights, double lambda);

}  // namespace gearhark::tracking
