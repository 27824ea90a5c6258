#include "car_lines.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace gearhark::tracking {
namespace {

// Share of the time that a line stands above the background. Own experience with simulated road tests;
// learned anew for every recording, so only the ranking matters much.
constexpr std::array kLoadedMesh = {0.6, 0.5, 0.35, 0.25}, kIdleMesh = {0.35, 0.25, 0.15, 0.1};
constexpr double kSidebandShare = 0.35, kFiring = 0.6, kWholeOrder = 0.3, kHalfOrder = 0.15;
constexpr double kKnownTread = 0.3, kCoarseTread = 0.08, kFineTread = 0.04;

// A rounded ratio may be off this much and still help; a creeping belt may not.
constexpr double kWidestSpread = 0.003;

double mesh_visibility(const Line& line) {
  const auto harmonic = static_cast<std::size_t>(line.harmonic - 1);
  if (harmonic >= kLoadedMesh.size()) return 0.0;
  return line.loaded ? kLoadedMesh[harmonic] : kIdleMesh[harmonic];
}

double visibility_of(const Line& line, const Car& car) {
  switch (line.kind) {
    case LineKind::firing:
      return kFiring;
    case LineKind::engine_half_order:
      return line.harmonic % 2 == 0 ? kWholeOrder : kHalfOrder;
    case LineKind::mesh:
      return mesh_visibility(line);
    case LineKind::mesh_sideband:
      return line.harmonic <= 2 ? kSidebandShare * mesh_visibility(line) : 0.0;
    case LineKind::tread:
      return car.tyre.tread_pitches ? kKnownTread : 0.0;
    default:
      return 0.0;
  }
}

LineSource source_of(const Line& line) {
  if (line.kind == LineKind::firing || line.kind == LineKind::engine_half_order) return LineSource::engine;
  return line.kind == LineKind::tread ? LineSource::tread : LineSource::gear;
}

// The pattern repeats every turn, whatever its pitches: any whole order may stand out.
void add_unknown_tread(std::vector<TrackingLine>& lines) {
  for (int order = 45; order <= 180; ++order)
    lines.push_back(
        {static_cast<double>(order), order <= 100 ? kCoarseTread : kFineTread, LineSource::tread, kNoOrigin});
}

}  // namespace

Result<CarLines> car_lines(const Car& car, const DriveState& state) {
  const auto rates = shaft_rates(car, state);
  if (!rates) return rates.error();
  CarLines out;
  out.predicted = predicted_lines(car, state, *rates);
  const auto engine = rates->find("engine");
  out.tied = engine != rates->end() && engine->second.wheel != 0.0;
  for (std::size_t i = 0; i < out.predicted.size(); ++i) {
    const Line& line = out.predicted[i];
    const double visible = visibility_of(line, car), spread = std::max(-line.low, line.high);
    if (visible == 0.0 || spread > kWidestSpread || line.rate.bend != 0.0) continue;
    const bool road = line.rate.road_bound(), engine_side = line.rate.engine_bound();
    if (!road && !engine_side) continue;
    const double order = std::abs(road ? line.rate.wheel : line.rate.engine);
    if (order < 1e-6) continue;
    (road ? out.wheel : out.engine).push_back({order, visible, source_of(line), i});
    out.spread = std::max(out.spread, spread);
  }
  if (!out.tied) add_unknown_tread(out.wheel);
  return out;
}

std::vector<TrackingLine> lines_from(LineSource source, std::span<const TrackingLine> lines) {
  std::vector<TrackingLine> out;
  for (const TrackingLine& line : lines)
    if (line.source == source) out.push_back(line);
  return out;
}

std::vector<TrackingLine> without_tread(std::span<const TrackingLine> lines) {
  std::vector<TrackingLine> road;
  for (const TrackingLine& line : lines)
    if (line.source != LineSource::tread) road.push_back(line);
  return road;
}

void leave_out_half_orders(std::vector<TrackingLine>& lines, double half_order) {
  std::erase_if(lines, [half_order](const TrackingLine& line) {
    const double halves = line.order / half_order;
    return std::abs(halves - std::round(halves)) < 0.02;
  });
}

}  // namespace gearhark::tracking
