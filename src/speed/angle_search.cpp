#include "gearhark/speed/angle_search.hpp"

#include <algorithm>
#include <cmath>

#include "car_lines.hpp"
#include "curves.hpp"
#include "fine_scale.hpp"
#include "gearhark/signal/statistics.hpp"
#include "phases.hpp"
#include "steady_orders.hpp"
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

// The track after relative rate deviations at the frames; straight on before the first and after the last.
AngleTrack moved(const FlatSound& flat, const Ratios& ratios, std::span<const double> deviation) {
  const double step = flat.track.step_s, last = static_cast<double>(deviation.size() - 1);
  std::vector<double> rate(static_cast<std::size_t>(flat.duration() / step) + 2);
  for (std::size_t i = 0; i < rate.size(); ++i) {
    const double at = (static_cast<double>(i) * step - ratios.first_frame_s) / ratios.frame_step_s;
    const double position = std::clamp(at, 0.0, last);
    const auto k = std::min(static_cast<std::size_t>(position), deviation.size() - 2);
    const double u = position - static_cast<double>(k);
    rate[i] = flat.mean_rate * (deviation[k] + u * (deviation[k + 1] - deviation[k]));
  }
  return corrected(flat, integrate(rate, step).turns, step);
}

std::vector<double> smooth_path(const Path& path, double lambda) {
  std::vector<double> weights(path.sd);
  const double usual = middle_value(path.sd);
  for (double& w : weights) w = std::clamp(usual * usual / (w * w), 0.1, 2.0);
  return smoothed(path.deviation, weights, lambda);
}

void learn(std::vector<TrackingLine>& lines, const std::vector<double>& seen) {
  for (std::size_t l = 0; l < lines.size(); ++l)
    lines[l].visible = std::clamp(0.3 * lines[l].visible + 0.7 * seen[l], 0.02, 0.9);
}

// A mesh on the engine's own shaft lies on a whole engine order, where any engine may sound, moving or not.
std::vector<TrackingLine> off_engine_orders(const std::vector<TrackingLine>& lines) {
  double half_order = 0.0;
  for (const TrackingLine& line : lines)
    if (line.source == LineSource::engine && (half_order == 0.0 || line.order < half_order))
      half_order = line.order;
  std::vector<TrackingLine> out = lines_from(LineSource::gear, lines);
  if (half_order > 0.0) leave_out_half_orders(out, half_order);
  return out;
}

// Mean votes per second at deviation 0, and those of shifted copies, 0.8 to 12 % off.
struct OnAndBeside {
  double on = -1e9, best_beside = -1e9, mean_beside = 0.0;
};
OnAndBeside votes_about(SummedVotes& summed, double mean_rate, std::span<const TrackingLine> lines) {
  const Grid grid = grid_between(-0.12, 0.12, 0.0005);
  const std::vector<double> sums = summed.of(mean_rate, lines, grid);
  const double seconds = summed.seconds();
  OnAndBeside out;
  double copies = 0.0;
  for (std::size_t j = 0; j < sums.size(); ++j) {
    const double d = std::abs(grid.at(j)), per_s = sums[j] / seconds;
    if (d < 0.0008) out.on = std::max(out.on, per_s);
    if (d <= 0.008) continue;
    out.best_beside = std::max(out.best_beside, per_s);
    out.mean_beside += per_s;
    copies += 1.0;
  }
  out.mean_beside /= copies;
  return out;
}

double margin_of(SummedVotes& summed, double mean_rate, const std::vector<TrackingLine>& lines) {
  const OnAndBeside votes = votes_about(summed, mean_rate, lines);
  return votes.on - votes.best_beside;
}

// Those that place an angle exactly. What a louder part hid among the votes counts here.
std::vector<TrackingLine> exact_lines(std::span<const TrackingLine> lines) {
  std::vector<TrackingLine> exact;
  std::copy_if(lines.begin(), lines.end(), std::back_inserter(exact), [](const TrackingLine& line) {
    return line.source != LineSource::machine && line.source != LineSource::knock;
  });
  return distinct(exact);
}

// Near enough for the closer looks at either to end at the same angle.
bool nearly_same(const AngleTrack& a, const AngleTrack& b) {
  constexpr double step_s = 0.5, near = 0.003;  // relative; the first pass sees 0.001
  for (double t = 0.0; t < a.duration(); t += step_s)
    if (std::abs(a.rate_at(t) - b.rate_at(t)) > near * b.rate_at(t)) return false;
  return true;
}

// Deviations of the rate that the phases take care of.
constexpr double kNear = 1e-3;
constexpr double kSettled = 0.003;  // turns; less than a cycle at any order of interest

double largest(std::span<const double> values) {
  double most = 0.0;
  for (double v : values) most = std::max(most, std::abs(v));
  return most;
}

constexpr double kFaint = 0.15;  // lines seen less of the time than this have no phase to follow

WalkSettings prior_walk(const RatePrior& prior) {
  return {prior.steadiness == Steadiness::steady ? 0.008 : 0.012, prior.mean, prior.sd};
}

Framing framing_of(const RatePrior& prior) {
  return {prior.window_s, prior.window_s / 4.0, prior.lowest_hz, prior.highest_hz};
}

Certainty certainty_of(const FoundAngle& found) {
  if (found.rival_per_s <= 1.5) return Certainty::lost;
  return found.gear_margin > 0.0 ? Certainty::sure : Certainty::doubtful;
}

// Margins read off simulated coast-downs: wrong scales reached 13 nats, right ones mostly have more than 30.
// Where other runs have told the needle's error there are fewer rivals: of 120 such coast-downs the wrong
// ones (over 0.5 %) reached 6.4 nats, and of the 19 above 9 nats one was off by more than 0.1 %.
Certainty scale_certainty(double margin, const RatePrior& prior) {
  constexpr double needle_known = 0.015;
  if (margin > 25.0) return Certainty::sure;
  return margin > (prior.sd < needle_known ? 9.0 : 16.0) ? Certainty::doubtful : Certainty::lost;
}

// Without gear lines that bind it, the scale is that of some tyre, not of the driven wheels' mean. Lines
// learnt bind it too, but which of the four tyres is the loudest changes from run to run: errors of up to
// 0.15 % were seen.
double scale_sd(const ScaleGuess& scale, Certainty certainty) {
  if (certainty == Certainty::lost) return 0.03;
  return scale.gears > 40.0 ? std::max(8e-4, scale.sd) : 2e-3;
}

double relative_sd_of(Certainty certainty, int lines_followed) {
  if (certainty == Certainty::lost) return 0.03;
  if (certainty == Certainty::doubtful) return 0.006;
  return lines_followed >= 4 ? 0.0003 : 0.0008;
}

}  // namespace

// What is known of one candidate on the way from a first guess to an angle.
struct Tracked {
  AngleTrack track;
  std::vector<TrackingLine> lines;  // their visibility as learned
  std::vector<bool> followed;
  int followed_lines = 0;
};

struct AngleSearch::State {
  Sound sound;
  RatePrior prior;
  FlatSound flat;                     // by the nominal rate
  Ratios ratios;                      // of flat
  std::optional<SummedVotes> summed;  // of ratios
  [[nodiscard]] double seconds() const { return static_cast<double>(ratios.frames) * ratios.frame_step_s; }
  [[nodiscard]] Votes votes(std::span<const TrackingLine> lines) const {
    return cast_votes(ratios, flat.mean_rate, lines, grid_between(prior.low, prior.high, 0.001));
  }
  [[nodiscard]] bool steady() const { return prior.steadiness == Steadiness::steady; }
  void use(Sound new_sound) {
    sound = std::move(new_sound);
    use(flatten(sound, prior.nominal));
  }
  void use(FlatSound new_flat) {
    flat = std::move(new_flat);
    ratios = line_ratios(flat, framing_of(prior));
    summed.emplace(ratios);
  }

  // The first pass about the stated rate.
  AngleTrack walk(const std::vector<TrackingLine>& lines, FoundAngle& found) const {
    const WalkSettings wide = prior_walk(prior);
    const Votes nominal_votes = votes(lines);
    const Likelihoods likelihoods(nominal_votes, wide);
    const Path path = likeliest_path(nominal_votes, likelihoods, wide);
    found.evidence_per_s = path.log_evidence / seconds();
    found.rival_per_s =
        (region_evidence(nominal_votes, likelihoods, wide, path.deviation, prior.apart, Region::near_path) -
         region_evidence(nominal_votes, likelihoods, wide, path.deviation, prior.apart,
                         Region::away_from_path)) /
        seconds();
    return moved(flat, ratios, smooth_path(path, steady() ? 2e3 : 3e5));
  }

  // Votes again, closer and closer round the track; learns what is visible.
  void sharpen(Tracked& t) const {
    const bool curve = prior.shape == PathShape::smooth_curve;
    for (double walk_sd : {0.006, 0.003}) {
      const FlatSound now = flatten(sound, t.track);
      const Ratios now_ratios = line_ratios(now, framing_of(prior));
      const std::vector<double> seen = seen_visibility(now_ratios, now.mean_rate, t.lines);
      learn(t.lines, seen);
      const Votes now_votes =
          cast_votes(now_ratios, now.mean_rate, t.lines, grid_between(-0.02, 0.02, 0.0005));
      const WalkSettings walk{curve ? 0.5 * walk_sd : walk_sd};
      const Path path = likeliest_path(now_votes, Likelihoods(now_votes, walk), walk);
      const std::vector<double> deviation = smooth_path(path, steady() ? 2e3 : 2e4);
      t.track = moved(now, now_ratios, deviation);
      if (!steady() || largest(deviation) > kNear) continue;
      learn(t.lines, seen);  // what a closer look would see again
      break;
    }
  }

  // Then phases, until nothing moves.
  void lock(Tracked& t) const {
    std::vector<TrackingLine> seen;
    for (std::size_t l = 0; l < t.lines.size(); ++l)
      if (t.lines[l].visible > kFaint) {
        seen.push_back(t.lines[l]);
        seen.back().origin = l;
      }
    for (int pass = 0; pass < 8; ++pass) {
      const FlatSound now = flatten(sound, t.track);
      const PhaseError phases =
          phase_error(now, seen, {prior.steadiness, 0.8 * prior.window_s, prior.lowest_hz});
      t.track = corrected(now, phases.turns, phases.step_s);
      t.followed.assign(t.lines.size(), false);
      for (std::size_t k = 0; k < seen.size(); ++k) t.followed[seen[k].origin] = phases.followed[k];
      t.followed_lines = phases.lines;
      if (largest(phases.turns) < kSettled) break;
    }
  }

  // About what sharpen() and lock() would find of lines along a track that others led to.
  static void learn_along(const Heard& heard, const std::vector<FoundLine>& others, Tracked& t) {
    const std::vector<double> seen = seen_visibility(heard.ratios, heard.flat.mean_rate, t.lines);
    for (int pass = 0; pass < 2; ++pass) learn(t.lines, seen);
    for (const TrackingLine& line : t.lines) {
      const auto same = std::find_if(others.begin(), others.end(),
                                     [&](const FoundLine& other) { return other.line.order == line.order; });
      t.followed.push_back(same != others.end() && same->followed);
      t.followed_lines += t.followed.back() ? 1 : 0;
    }
  }

  [[nodiscard]] std::shared_ptr<const Heard> heard_along(const AngleTrack& track) const {
    auto heard = std::make_shared<Heard>();
    heard->flat = flatten(sound, track);
    heard->ratios = line_ratios(heard->flat, framing_of(prior));
    return heard;
  }

  // What the sound along the track says of it. lines: as they were given.
  void measure(const Tracked& t, const std::vector<TrackingLine>& lines, FoundAngle& found) const {
    SummedVotes heard(found.heard->ratios);
    const double mean_rate = found.heard->flat.mean_rate;
    found.track = t.track;
    found.gear_margin = margin_of(heard, mean_rate, lines_from(LineSource::gear, t.lines));
    found.road_margin = margin_of(heard, mean_rate, off_engine_orders(t.lines));
    const OnAndBeside all = votes_about(heard, mean_rate, lines);
    found.lead_per_s = all.on - all.mean_beside;
    for (std::size_t l = 0; l < t.lines.size(); ++l)
      found.lines.push_back({t.lines[l], t.lines[l].visible, t.followed[l]});
    if (prior.shape == PathShape::smooth_curve) return;
    found.certainty = certainty_of(found);
    found.relative_sd = relative_sd_of(found.certainty, t.followed_lines);
  }

  // The scale of a track whose shape is locked, over all of the prior window.
  ScaleGuess settle_scale(std::span<const TrackingLine> lines, Tracked& t) const {
    const double off = t.track.mean_rate() / prior.nominal.mean_rate();
    const auto relative = [off](double s) { return (1.0 + s) / off - 1.0; };
    const MeanPrior over = mean_prior(prior);
    const ScaleGuess scale = fine_scale(flatten(sound, t.track), lines,
                                        grid_between(relative(over.low), relative(over.high), 1e-4),
                                        relative(over.mean), over.sd / off);
    for (double& turns : t.track.turns) turns *= 1.0 + scale.deviation;
    return scale;
  }

  // Several smooth curves, each locked and rescaled; the one with the most evidence in long frames.
  // all: with lines too close together to vote apart in short frames.
  Tracked curve(const std::vector<TrackingLine>& lines, std::span<const TrackingLine> all,
                FoundAngle& found) const {
    Tracked best;
    ScaleGuess best_scale;
    double rival = -1e300;
    best_scale.score = -1e300;
    for (const CurveGuess& guess : best_curves(sound, lines, prior)) {
      Tracked t{guess.track, lines, std::vector<bool>(lines.size()), 0};
      sharpen(t);
      const ScaleGuess scale = settle_scale(all, t);
      const bool same =
          !best.track.turns.empty() && std::abs(t.track.mean_rate() / best.track.mean_rate() - 1.0) < 0.004;
      if (scale.score > best_scale.score) {
        if (!same) rival = std::max(rival, best_scale.score);
        best = t;
        best_scale = scale;
      } else if (!same) {
        rival = std::max(rival, scale.score);
      }
    }
    best.lines = lines;
    sharpen(best);
    lock(best);
    best_scale = settle_scale(all, best);
    found.scale_margin = std::min(best_scale.margin, best_scale.score - rival);
    found.certainty = scale_certainty(found.scale_margin, prior);
    found.relative_sd = scale_sd(best_scale, found.certainty);
    found.evidence_per_s = best_scale.score / seconds();
    return best;
  }
};

AngleSearch::AngleSearch(std::span<const float> samples, double sample_rate, const RatePrior& prior)
    : state_(std::make_unique<State>()) {
  state_->prior = prior;
  state_->use(decimate_for_tracking(samples, sample_rate));
}
AngleSearch::AngleSearch(const Sound& decimated, const RatePrior& prior) : state_(std::make_unique<State>()) {
  state_->prior = prior;
  state_->use(decimated);
}
AngleSearch::AngleSearch(const Sound& decimated, const RatePrior& prior, const FoundAngle& in_step)
    : state_(std::make_unique<State>()) {
  state_->prior = prior;
  state_->sound = decimated;
  state_->use(in_step.heard ? in_step_with(in_step.heard->flat, prior.nominal)
                            : flatten(decimated, prior.nominal));
}
AngleSearch::~AngleSearch() = default;
AngleSearch::AngleSearch(AngleSearch&&) noexcept = default;
AngleSearch& AngleSearch::operator=(AngleSearch&&) noexcept = default;

bool AngleSearch::long_enough() const { return state_->ratios.frames >= 8; }

void AngleSearch::remove_steady_orders(const AngleTrack& other) {
  state_->use(without_steady_orders(state_->sound, other));
}

double AngleSearch::evidence_per_s(std::span<const TrackingLine> lines) const {
  const Votes votes = state_->votes(distinct(lines));
  const WalkSettings walk = prior_walk(state_->prior);
  const std::vector<double> anywhere(votes.frames, 0.0);
  return region_evidence(votes, Likelihoods(votes, walk), walk, anywhere, 1e9, Region::near_path) /
         state_->seconds();
}

double AngleSearch::most_votes_per_s(std::span<const TrackingLine> lines, double low, double high) const {
  const Grid grid = grid_between(state_->prior.low + low, state_->prior.high + high, 0.001);
  const std::vector<double> sums = state_->summed->of(state_->flat.mean_rate, distinct(lines), grid);
  return *std::max_element(sums.begin(), sums.end()) / state_->seconds();
}

FoundAngle AngleSearch::find(std::span<const TrackingLine> lines_in, IfLost if_lost) const {
  const State& s = *state_;
  FoundAngle found;
  found.track = s.prior.nominal;
  if (!long_enough()) return found;
  const std::vector<TrackingLine> lines = distinct(lines_in);
  Tracked tracked{{}, lines, {}, 0};
  if (s.prior.shape == PathShape::smooth_curve) {
    tracked = s.curve(lines, lines_in, found);
  } else {
    tracked.track = s.walk(lines, found);
    if (if_lost == IfLost::stop && certainty_of(found) == Certainty::lost) return found;
    tracked.lines = exact_lines(lines_in);
    s.sharpen(tracked);
    s.lock(tracked);
  }
  found.heard = s.heard_along(tracked.track);
  s.measure(tracked, lines, found);
  return found;
}

FoundAngle AngleSearch::find_with_fewer(std::span<const TrackingLine> lines_in, const FoundAngle& with_all,
                                        IfLost if_lost) const {
  const State& s = *state_;
  if (!with_all.heard || s.prior.shape == PathShape::smooth_curve) return find(lines_in, if_lost);
  FoundAngle found;
  found.track = s.prior.nominal;
  const std::vector<TrackingLine> lines = distinct(lines_in);
  const AngleTrack led_to = s.walk(lines, found);
  if (if_lost == IfLost::stop && certainty_of(found) == Certainty::lost) return found;
  if (!nearly_same(led_to, with_all.track)) return find(lines_in, if_lost);
  Tracked tracked{with_all.track, exact_lines(lines_in), {}, 0};
  s.learn_along(*with_all.heard, with_all.lines, tracked);
  found.heard = with_all.heard;
  s.measure(tracked, lines, found);
  return found;
}

}  // namespace gearhark
