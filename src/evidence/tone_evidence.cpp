#include "gearhark/evidence/tone_evidence.hpp"

#include <algorithm>
#include <cmath>

namespace gearhark {
namespace {

double decibels(double excess) { return Decibels::of_power_ratio(1.0 + excess).value(); }

double level_at(const OrderSpectrum& tones, double order) {
  return decibels(tones.line_excess(order, tones.usual_half_width(order)));
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

std::optional<JointEvidence> joint_evidence(const OrderSpectrum& tones, double shaft,
                                            std::span<const double> known) {
  if (shaft <= 0.0 || near_known(2.0 * shaft, known)) return std::nullopt;
  return JointEvidence{Decibels::already(level_at(tones, 2.0 * shaft))};
}

}  // namespace gearhark
