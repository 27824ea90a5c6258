#include "patterns.hpp"

#include <algorithm>
#include <cmath>

#include "gearhark/evidence/tone_evidence.hpp"

namespace gearhark::repair {
namespace {

constexpr double shows = 0.02;  // chance below which a line is followed

// Orders that other parts of the car sound at, healthy or not, are no measure of a tyre.
std::vector<double> known_orders(const Car& car, const HeardRun& run) {
  std::vector<double> known;
  for (const Line& line : predicted_lines(car, run.state, run.rates)) {
    const bool own = line.kind == LineKind::wheel_turn || line.kind == LineKind::tread;
    if (!own && line.sounds_healthy && line.rate.road_bound()) known.push_back(std::abs(line.rate.wheel));
  }
  return known;
}

// Orders of a chosen candidate in a run: comb lines that can be seen apart from known ones; twice the shaft.
Pattern pattern_of(const Candidate& candidate, const HeardRun& run, std::size_t r) {
  Pattern out;
  const double base = candidate.fundamental[r], side = candidate.modulation[r];
  if (base <= 0.0) return out;
  if (candidate.kind == EvidenceKind::joint_orders) {
    out.orders = {base};
    out.spacing = 1.0;
    return out;
  }
  out.band = Band{candidate.band_low, candidate.band_high};
  const auto followed = followed_in(candidate, run, r);
  if (!followed) return out;
  const Place& place = followed->place;
  out.engine_bound = place.engine_bound;
  const EnvelopeSpectra& spectra = spectra_for(*place.spectra, candidate.fault);
  if (candidate.group >= spectra.groups.size() || spectra.groups[candidate.group].bins() == 0) return out;
  const auto seen =
      comb_seen(spectra, *followed->family, place.fundamental, side, candidate.slip, candidate.group);
  // Of a comb of twenty lines a fault may make three: those that show are followed, or all where none does.
  const bool any = std::any_of(seen.begin(), seen.end(), [](const CombSeen& l) { return l.chance < shows; });
  for (const CombSeen& line : seen)
    if (!any || line.chance < shows) out.orders.push_back(line.order);
  out.shows = any;
  return out;
}

// Every two sidebands of a mesh.
std::vector<Pattern> sidebands(double mesh, double side) {
  std::vector<Pattern> out;
  for (int h = 1; h <= 3 && mesh > 0.0; ++h)
    for (int k = 1; k <= mesh_side_orders; ++k) {
      Pattern& two = out.emplace_back();
      two.orders = {h * mesh - k * side, h * mesh + k * side};
      two.one_of_two = true;
      two.spacing = side;
    }
  return out;
}

// Every whole order about a tyre's middle.
std::vector<Pattern> tyre_orders(double middle, double slip, const std::vector<double>& known,
                                 const OrderSpectrum& tones) {
  std::vector<Pattern> out;
  const double half = 0.25 * middle + 2.0;
  for (double order = std::ceil(std::max(3.0, middle - half)); order <= middle + half; order += 1.0) {
    Pattern& one = out.emplace_back();
    one.spacing = 1.0;
    const double there = order * (1.0 + slip);
    if (near_known(there, known)) continue;
    one.orders = {there};
    one.shows = tones.strength(there, tones.usual_half_width(there)).chance < shows;
  }
  return out;
}

}  // namespace

std::vector<Pattern> patterns_of(const Car& car, const Candidate& candidate, const HeardRun& run,
                                 std::size_t r) {
  if (candidate.kind == EvidenceKind::mesh_sidebands)
    return sidebands(candidate.fundamental[r], candidate.modulation[r]);
  if (candidate.kind == EvidenceKind::tyre_orders)
    return tyre_orders(candidate.fundamental[r], candidate.slip, known_orders(car, run), run.wheel.tones);
  return {pattern_of(candidate, run, r)};
}

}  // namespace gearhark::repair
