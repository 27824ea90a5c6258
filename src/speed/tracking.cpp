#include "gearhark/speed/tracking.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "car_lines.hpp"
#include "prior.hpp"

namespace gearhark {
namespace {

using namespace tracking;

Tracking at_given_rate(double rate, double duration) {
  Tracking out;
  const auto steps = static_cast<std::size_t>(std::max(2.0, std::round(duration / 0.05)));
  const double step = duration / static_cast<double>(steps);
  out.wheel = integrate(std::vector<double>(steps + 1, rate), step);
  out.certainty = Certainty::sure;
  return out;
}

Tracking lost(const RatePrior& prior, std::string remark) {
  Tracking out;
  out.wheel = prior.nominal;
  out.scale = 1.0 + prior.mean;
  for (double& turns : out.wheel.turns) turns *= out.scale;
  out.scale_sd = prior.sd;
  out.wheel_rate_sd = prior.sd * prior.nominal.mean_rate();
  out.remarks.push_back(std::move(remark));
  return out;
}

Tracking from_found(const FoundAngle& found, const RatePrior& prior, const CarLines& lines) {
  Tracking out;
  const double nominal = prior.nominal.mean_rate(), rate = found.track.mean_rate();
  out.wheel = found.track;
  out.certainty = found.certainty;
  out.scale = rate / nominal;
  out.scale_sd = std::hypot(found.relative_sd, lines.spread) * out.scale;
  out.wheel_rate_sd = out.scale_sd * nominal;
  for (const FoundLine& line : found.lines)
    if (line.followed && line.line.origin != kNoOrigin)
      out.lines_used.push_back(lines.predicted[line.line.origin]);
  return out;
}

}  // namespace

Tracking track(std::span<const float> samples, double sample_rate, const Car& car, const Run& run) {
  const double duration = static_cast<double>(samples.size()) / sample_rate;
  if (run.speed.source == SpeedSource::exact_shaft)
    return at_given_rate(run.speed.shaft_rate.value_or(ShaftRate(0)).value(), duration);
  const RatePrior prior =
      rate_prior(run.speed, duration, 1.0 / car.tyre.rolling_circumference.value(), run.load);
  const auto lines = car_lines(car, {run.gear, run.clutch});
  if (!lines) return lost(prior, lines.error().sentence);
  const AngleSearch search(samples, sample_rate, prior);
  if (!search.long_enough())
    return lost(prior, fmt::format("{:.1f} s of sound are too short to find the speed in.", duration));
  return from_found(search.find(lines->wheel), prior, *lines);
}

std::vector<Tracking> track_all(const Car& car, std::span<const RunInput> runs) {
  std::vector<Tracking> out;
  for (const RunInput& run : runs) out.push_back(track(run.samples, run.sample_rate, car, run.run));
  return out;
}

}  // namespace gearhark
