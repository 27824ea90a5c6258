#include "gearhark/evidence/tone_evidence.hpp"

#include <algorithm>
#include <cmath>

namespace gearhark {
namespace {

// Uneven wear sounds between a few and some fifty times per turn; above that the tread pattern of healthy
// tyres begins.
constexpr int first_tyre_order = 3, last_tyre_order = 60;
constexpr int first_tyre_centre = 8, last_tyre_centre = 48;

double decibels(double excess) { return Decibels::of_power_ratio(1.0 + excess).value(); }

double level_at(const OrderSpectrum& tones, double order) {
  return decibels(tones.line_excess(order, tones.usual_half_width(order)));
}

bool explained(double order, std::span<const double> known) {
  return std::any_of(known.begin(), known.end(),
                     [&](double k) { return std::abs(order - k) < clear_of_known; });
}

// lg(1 + excess) at whole wheel orders; nothing where another line lies.
std::vector<std::optional<double>> whole_order_profile(const OrderSpectrum& tones,
                                                       std::span<const double> known) {
  std::vector<std::optional<double>> profile(static_cast<std::size_t>(last_tyre_order) + 1);
  for (int order = first_tyre_order; order <= last_tyre_order; ++order) {
    if (explained(order, known)) continue;
    const double half_width = (1.5 + 0.0004 * order * tones.turns) / tones.turns;
    profile[static_cast<std::size_t>(order)] = std::log10(1.0 + tones.line_excess(order, half_width));
  }
  return profile;
}

}  // namespace

std::optional<MeshEvidence> mesh_evidence(const OrderSpectrum& tones, double mesh, double modulation,
                                          Hertz highest) {
  double sides = 0.0, far_sides = 0.0, carriers = 0.0;
  int pairs = 0, harmonics = 0;
  const auto weaker_side = [&](int h, int k) {
    return std::min(level_at(tones, h * mesh - k * modulation), level_at(tones, h * mesh + k * modulation));
  };
  for (int h = 1; h <= mesh_harmonics; ++h) {
    const double top = h * mesh + mesh_side_orders * modulation;
    if (top * tones.mean_rate > highest.value() ||
        top * tones.turns + 4 > static_cast<double>(tones.power.size()))
      break;
    carriers += level_at(tones, h * mesh);
    ++harmonics;
    for (int k = 1; k <= mesh_side_orders; ++k) {
      sides += weaker_side(h, k);
      ++pairs;
    }
    for (int k = first_far_side; k <= last_far_side; ++k) far_sides += weaker_side(h, k);
  }
  if (pairs == 0) return std::nullopt;
  constexpr int far = last_far_side - first_far_side + 1;
  return MeshEvidence{Decibels::already(sides / pairs - far_sides / (harmonics * far)),
                      Decibels::already(carriers / harmonics), pairs};
}

TyreEvidence tyre_evidence(const OrderSpectrum& tones, std::span<const double> known) {
  const auto profile = whole_order_profile(tones, known);
  TyreEvidence best;
  for (int centre = first_tyre_centre; centre <= last_tyre_centre; ++centre) {
    const double half = 0.25 * centre + 2.0;
    std::vector<double> seen;
    const int last = std::min(last_tyre_order, static_cast<int>(centre + half));
    for (int order = std::max(first_tyre_order, static_cast<int>(centre - half)); order <= last; ++order)
      if (const auto& value = profile[static_cast<std::size_t>(order)]) seen.push_back(*value);
    if (seen.size() < 6) continue;
    std::sort(seen.begin(), seen.end());
    double sum = 0.0;
    for (std::size_t i = 0; i + 2 < seen.size(); ++i) sum += seen[i];
    const double mean = sum / static_cast<double>(seen.size() - 2);
    if (mean > best.excess) best = {mean, static_cast<double>(centre)};
  }
  return best;
}

std::optional<JointEvidence> joint_evidence(const OrderSpectrum& tones, double shaft,
                                            std::span<const double> known) {
  if (shaft <= 0.0 || explained(2.0 * shaft, known)) return std::nullopt;
  return JointEvidence{Decibels::already(level_at(tones, 2.0 * shaft))};
}

}  // namespace gearhark
