#include "prior.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace gearhark::tracking {
namespace {

constexpr double kSlowest = 2.0;       // m/s; below this no driveline makes lines that could be followed
constexpr double kSatelliteLag = 1.0;  // s; fixes come out late, 0.5 to 1.5 s in a car

std::vector<double> on_lines(const std::vector<SpeedPoint>& points, std::size_t nodes, double step) {
  std::vector<double> speed(nodes);
  std::size_t k = 0;
  for (std::size_t i = 0; i < nodes; ++i) {
    const double t = static_cast<double>(i) * step;
    while (k + 2 < points.size() && points[k + 1].time.value() < t) ++k;
    if (points.size() == 1) {
      speed[i] = points[0].speed.value();
      continue;
    }
    const double t0 = points[k].time.value(), t1 = points[k + 1].time.value();
    const double u = t1 > t0 ? std::clamp((t - t0) / (t1 - t0), 0.0, 1.0) : 0.0;
    speed[i] = points[k].speed.value() + u * (points[k + 1].speed.value() - points[k].speed.value());
  }
  return speed;
}

std::vector<double> gaussian_mean(const std::vector<SpeedPoint>& points, std::size_t nodes, double step,
                                  double sd, double lag) {
  std::vector<double> speed(nodes);
  for (std::size_t i = 0; i < nodes; ++i) {
    double sum = 0.0, weight = 0.0;
    for (const SpeedPoint& p : points) {
      const double z = (p.time.value() - lag - static_cast<double>(i) * step) / sd;
      const double w = std::exp(-0.5 * z * z) + 1e-12 / (1.0 + z * z);
      sum += w * p.speed.value();
      weight += w;
    }
    speed[i] = sum / weight;
  }
  return speed;
}

std::vector<double> cubic(const std::vector<SpeedPoint>& points, std::size_t nodes, double step, double lag) {
  const double length = static_cast<double>(nodes - 1) * step;
  Eigen::MatrixXd a(static_cast<Eigen::Index>(points.size()), 4);
  Eigen::VectorXd b(static_cast<Eigen::Index>(points.size()));
  for (Eigen::Index i = 0; i < b.size(); ++i) {
    const SpeedPoint& p = points[static_cast<std::size_t>(i)];
    const double u = (p.time.value() - lag) / length;
    a.row(i) << 1.0, u, u * u, u * u * u;
    b(i) = p.speed.value();
  }
  const Eigen::VectorXd c = a.colPivHouseholderQr().solve(b);
  std::vector<double> speed(nodes);
  for (std::size_t i = 0; i < nodes; ++i) {
    const double u = static_cast<double>(i) * step / length;
    speed[i] = c(0) + u * (c(1) + u * (c(2) + u * c(3)));
  }
  return speed;
}

double relative_range(const std::vector<double>& speed) {
  const auto [low, high] = std::minmax_element(speed.begin(), speed.end());
  return (*high - *low) / (0.5 * (*high + *low));
}

// Anywhere between two speeds; where nothing was said, 20 to 130 km/h.
RatePrior range_prior(const StatedSpeed& stated, std::size_t steps, double step, double turns_per_metre) {
  double slowest = 20.0 / 3.6, fastest = 130.0 / 3.6;
  if (!stated.points.empty()) {
    const double one = stated.points.front().speed.value(), other = stated.points.back().speed.value();
    slowest = std::max(kSlowest, std::min(one, other));
    fastest = std::max(1.02 * slowest, std::max(one, other));
  }
  const double middle = 0.5 * (slowest + fastest);
  RatePrior prior;
  prior.nominal = integrate(std::vector<double>(steps + 1, middle * turns_per_metre), step);
  prior.high = fastest / middle - 1.0;
  prior.low = -prior.high;
  prior.sd = prior.high;
  prior.steadiness = Steadiness::changing;
  return prior;
}

}  // namespace

RatePrior rate_prior(const StatedSpeed& stated, double duration_s, double turns_per_metre, Load load) {
  const auto steps = static_cast<std::size_t>(std::max(2.0, std::round(duration_s / 0.05)));
  const double step = duration_s / static_cast<double>(steps);
  if (stated.source == SpeedSource::range || stated.points.empty()) {
    RatePrior prior = range_prior(stated, steps, step, turns_per_metre);
    if (load == Load::neutral) prior.shape = PathShape::smooth_curve;
    return prior;
  }
  RatePrior prior;
  std::vector<double> speed;
  const bool many = stated.source == SpeedSource::satellite && stated.points.size() > 8;
  if (many) {
    speed = cubic(stated.points, steps + 1, step, kSatelliteLag);
    if (relative_range(speed) < 0.12)
      speed = gaussian_mean(stated.points, steps + 1, step, 3.0, kSatelliteLag);
  } else {
    speed = on_lines(stated.points, steps + 1, step);
  }
  for (double& v : speed) v = std::max(v, kSlowest);
  const bool told_to_change = relative_range(speed) > 0.12;
  const bool changing = told_to_change || load == Load::coast || load == Load::neutral;
  prior.steadiness = changing ? Steadiness::changing : Steadiness::steady;
  prior.told_at_ends = load == Load::neutral || (told_to_change && !many);
  if (stated.source == SpeedSource::needle) {
    prior.mean = -0.04;
    prior.sd = 0.04;
    prior.low = -0.14;
    prior.high = 0.065;
  } else if (stated.source == SpeedSource::engine) {  // rev counters are rougher, and read to 100 rpm
    prior.sd = 0.04;
    prior.low = -0.12;
    prior.high = 0.12;
  } else {
    prior.mean = 0.0;
    prior.sd = 0.02;
    prior.low = -0.055;
    prior.high = 0.055;
  }
  if (load == Load::neutral) {
    prior.shape = PathShape::smooth_curve;
    prior.curve = many ? CurvePrior{0.012, 0.0, 0.012} : CurvePrior{0.01, 0.03, 0.03};
  }
  for (double& v : speed) v *= turns_per_metre;
  prior.nominal = integrate(speed, step);
  return prior;
}

RatePrior engine_apart_prior(const AngleTrack& wheel, double ratio, std::span<const TrackingLine> lines) {
  double highest_order = 0.0;
  for (const TrackingLine& line : lines) highest_order = std::max(highest_order, line.order);
  RatePrior prior;
  prior.nominal = wheel;
  for (double& turns : prior.nominal.turns) turns *= ratio;
  prior.sd = 0.4;
  prior.low = -0.85;  // idling at speed
  prior.high = 0.6;
  prior.window_s = 1.0;
  prior.lowest_hz = 18.0;
  prior.apart = 0.02;
  prior.highest_hz =
      std::min(prior.highest_hz, (1.0 + prior.high) * highest_order * prior.nominal.mean_rate() + 10.0);
  return prior;
}

}  // namespace gearhark::tracking
