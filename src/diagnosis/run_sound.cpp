#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "gearhark/diagnosis/diagnosis.hpp"

namespace gearhark {
namespace {

void place_points(StatedSpeed& speed, double from, double length) {
  for (SpeedPoint& point : speed.points)
    point.time = std::isinf(point.time.value()) ? Seconds(length) : point.time - Seconds(from);
}

Error outside(const Run& run, double from, double to, double length) {
  return {
      fmt::format("{}: the part from {:.1f} s to {:.1f} s lies outside the recording, which is "
                  "{:.1f} s long; correct \"from\" and \"to\"",
                  run.file, from, to, length)};
}

}  // namespace

Result<RunSound> run_sound(Run run, Recording whole, Seconds starts) {
  const double begin = starts.value(), length = begin + whole.duration().value();
  const double from = run.from ? run.from->value() : 0.0, to = run.to ? run.to->value() : length;
  if (from >= length || to > length + 0.5) return outside(run, from, to, length);
  const auto sample = [&](double at) {
    return static_cast<std::ptrdiff_t>((std::min(at, length) - begin) * whole.sample_rate);
  };
  whole.samples.erase(whole.samples.begin() + sample(to), whole.samples.end());
  whole.samples.erase(whole.samples.begin(), whole.samples.begin() + sample(from));
  place_points(run.speed, from, whole.duration().value());
  return RunSound{std::move(run), std::move(whole), nullptr};
}

Result<RunSound> run_sound(Run run, LoadedSound loaded) {
  const Seconds from = run.from.value_or(Seconds(0.0));
  if (!loaded.pieces) return run_sound(std::move(run), std::move(loaded.recording), from);
  const double end = from.value() + loaded.duration().value();
  if (run.to && run.to->value() > end + 0.5) return outside(run, from.value(), run.to->value(), end);
  place_points(run.speed, from.value(), loaded.duration().value());
  return RunSound{std::move(run), std::move(loaded.recording), std::move(loaded.pieces)};
}

}  // namespace gearhark
