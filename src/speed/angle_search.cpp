#include "gearhark/speed/angle_search.hpp"

#include <algorithm>
#include <cmath>

#include "phases.hpp"
#include "votes.hpp"

namespace gearhark {
namespace {

using namespace tracking;

// Lines closer than 0.2 % vote once, as the likelier of the two.
std::vector<TrackingLine> distinct(std::span<const TrackingLine> lines) {
  std::vector<TrackingLine> sorted(lines.begin(), lines.end()), out;
  std::sort(sorted.begin(), sorted.end(), [](const auto& a, const auto& b) { return a.order < b.order; });
  for (const TrackingLine& line : sorted) {
    if (out.empty() || line.order > out.back().order * 1.002)
      out.push_back(line);
    else if (line.visible > out.back().visible)
      out.back() = line;
  }
  return out;
}

// Angle error over flat time from relative rate deviations at the frames.
std::vector<double> error_of(const FlatSound& flat, const Ratios& ratios, std::span<const double> deviation,
                             double step) {
  const auto n = static_cast<std::size_t>(flat.duration() / step) + 2;
  std::vector<double> rate(n);
  for (std::size_t i = 0; i < n; ++i) {
    const double at = (static_cast<double>(i) * step - ratios.first_frame_s) / ratios.frame_step_s;
    const double last = static_cast<double>(deviation.size() - 1);
    const double position = std::clamp(at, 0.0, last);
    const auto k = std::min(static_cast<std::size_t>(position), deviation.size() - 2);
    const double u =
        at < 0.0 || at > last ? position - static_cast<double>(k) : position - static_cast<double>(k);
    rate[i] = flat.mean_rate * (deviation[k] + u * (deviation[k + 1] - deviation[k]));
  }
  return integrate(rate, step).turns;
}

std::vector<double> smooth_path(const Path& path, double lambda) {
  std::vector<double> weights(path.sd), sorted(path.sd);
  std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2),
                   sorted.end());
  const double usual = sorted[sorted.size() / 2];
  for (double& w : weights) w = std::clamp(usual * usual / (w * w), 0.1, 2.0);
  return smoothed(path.deviation, weights, lambda);
}

void learn(std::vector<TrackingLine>& lines, const std::vector<double>& seen) {
  for (std::size_t l = 0; l < lines.size(); ++l)
    lines[l].visible = std::clamp(0.3 * lines[l].visible + 0.7 * seen[l], 0.02, 0.9);
}

std::vector<TrackingLine> only_gears(const std::vector<TrackingLine>& lines) {
  std::vector<TrackingLine> out;
  std::copy_if(lines.begin(), lines.end(), std::back_inserter(out),
               [](const TrackingLine& l) { return l.source == LineSource::gear; });
  return out;
}

// Mean votes per second of the gear lines at deviation 0, less those of the best shifted copy (0.8 to 12 %
// off).
double gear_margin_of(const Ratios& ratios, double mean_rate, const std::vector<TrackingLine>& lines) {
  const Votes votes = cast_votes(ratios, mean_rate, only_gears(lines), grid_between(-0.12, 0.12, 0.0005));
  std::vector<double> sums(votes.grid.size, 0.0);
  for (std::size_t i = 0; i < votes.frames; ++i)
    for (std::size_t j = 0; j < sums.size(); ++j) sums[j] += static_cast<double>(votes.frame(i)[j]);
  double on = -1e9, beside = -1e9;
  for (std::size_t j = 0; j < sums.size(); ++j) {
    const double d = std::abs(votes.grid.at(j));
    if (d < 0.0008) on = std::max(on, sums[j]);
    if (d > 0.008) beside = std::max(beside, sums[j]);
  }
  return (on - beside) / (static_cast<double>(votes.frames) * votes.frame_step_s);
}

constexpr double kSettled = 0.003;  // turns; less than a cycle at any order of interest

double largest(std::span<const double> values) {
  double most = 0.0;
  for (double v : values) most = std::max(most, std::abs(v));
  return most;
}

constexpr double kNear = 0.007;  // a path this far away is another one

WalkSettings prior_walk(const RatePrior& prior) {
  return {prior.steadiness == Steadiness::steady ? 0.008 : 0.012, prior.mean, prior.sd};
}

Certainty certainty_of(const FoundAngle& found) {
  if (found.rival_per_s <= 1.5) return Certainty::lost;
  return found.gear_margin > 0.0 ? Certainty::sure : Certainty::doubtful;
}

double relative_sd_of(Certainty certainty, int lines_followed) {
  if (certainty == Certainty::lost) return 0.03;
  if (certainty == Certainty::doubtful) return 0.006;
  return lines_followed >= 4 ? 0.0003 : 0.0008;
}

}  // namespace

struct AngleSearch::State {
  Sound sound;
  RatePrior prior;
  FlatSound flat;  // by the nominal rate
  Ratios ratios;   // of flat
  [[nodiscard]] double seconds() const { return static_cast<double>(ratios.frames) * ratios.frame_step_s; }
  [[nodiscard]] Votes votes(std::span<const TrackingLine> lines) const {
    return cast_votes(ratios, flat.mean_rate, lines, grid_between(prior.low, prior.high, 0.001));
  }
};

AngleSearch::AngleSearch(std::span<const float> samples, double sample_rate, const RatePrior& prior)
    : state_(std::make_unique<State>()) {
  state_->sound = decimate_for_tracking(samples, sample_rate);
  state_->prior = prior;
  state_->flat = flatten(state_->sound, prior.nominal);
  state_->ratios = line_ratios(state_->flat, {});
}
AngleSearch::~AngleSearch() = default;
AngleSearch::AngleSearch(AngleSearch&&) noexcept = default;
AngleSearch& AngleSearch::operator=(AngleSearch&&) noexcept = default;

bool AngleSearch::long_enough() const { return state_->ratios.frames >= 8; }

double AngleSearch::evidence_per_s(std::span<const TrackingLine> lines) const {
  const Votes votes = state_->votes(distinct(lines));
  return likeliest_path(votes, prior_walk(state_->prior)).log_evidence / state_->seconds();
}

FoundAngle AngleSearch::find(std::span<const TrackingLine> lines_in) const {
  const State& s = *state_;
  FoundAngle found;
  found.track = s.prior.nominal;
  if (!long_enough()) return found;
  std::vector<TrackingLine> lines = distinct(lines_in);
  const bool steady = s.prior.steadiness == Steadiness::steady;
  const double step = found.track.step_s;

  const WalkSettings wide = prior_walk(s.prior);
  Votes votes = s.votes(lines);
  Path path = likeliest_path(votes, wide);
  found.evidence_per_s = path.log_evidence / s.seconds();
  found.rival_per_s = (region_evidence(votes, wide, path.deviation, kNear, Region::near_path) -
                       region_evidence(votes, wide, path.deviation, kNear, Region::away_from_path)) /
                      s.seconds();
  found.track =
      corrected(s.flat, error_of(s.flat, s.ratios, smooth_path(path, steady ? 2e3 : 3e5), step), step);

  for (double walk : {0.006, 0.003}) {
    const FlatSound flat = flatten(s.sound, found.track);
    const Ratios ratios = line_ratios(flat, {});
    learn(lines, seen_visibility(ratios, flat.mean_rate, lines));
    votes = cast_votes(ratios, flat.mean_rate, lines, grid_between(-0.02, 0.02, 0.0005));
    path = likeliest_path(votes, {walk});
    found.track = corrected(flat, error_of(flat, ratios, smooth_path(path, steady ? 2e3 : 1e5), step), step);
  }

  PhaseError phases;
  for (int pass = 0; pass < 4; ++pass) {
    const FlatSound flat = flatten(s.sound, found.track);
    phases = phase_error(flat, lines, s.prior.steadiness);
    found.track = corrected(flat, phases.turns, phases.step_s);
    if (largest(phases.turns) < kSettled) break;
  }
  const FlatSound flat = flatten(s.sound, found.track);
  found.gear_margin = gear_margin_of(line_ratios(flat, {}), flat.mean_rate, lines);
  for (std::size_t l = 0; l < lines.size(); ++l)
    found.lines.push_back({lines[l], lines[l].visible, phases.followed[l]});
  found.certainty = certainty_of(found);
  found.relative_sd = relative_sd_of(found.certainty, phases.lines);
  return found;
}

}  // namespace gearhark
