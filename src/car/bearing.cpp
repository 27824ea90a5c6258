#include "gearhark/car/bearing.hpp"

#include <cmath>
#include <numbers>

namespace gearhark {

BearingRates bearing_rates(const Bearing& bearing, const Rate& inner, const Rate& outer) {
  const double gamma = bearing.gamma(), half_count = *bearing.count / 2.0;
  const double cosine = std::cos(bearing.contact_angle_degrees * std::numbers::pi / 180.0);
  const Rate rolling = inner - outer;
  return {half_count * (1.0 - gamma) * rolling, half_count * (1.0 + gamma) * rolling,
          cosine * (1.0 - gamma * gamma) / (2.0 * gamma) * rolling,
          0.5 * ((1.0 - gamma) * inner + (1.0 + gamma) * outer)};
}

Filling usual_filling(RollingElement element) {
  switch (element) {
    case RollingElement::ball:
      return {1.5, 2.0, 1.0};
    case RollingElement::angular_ball:
      return {1.5, 2.2, 0.77};
    case RollingElement::cylindrical_roller:
      return {1.8, 2.6, 1.0};
    case RollingElement::taper_roller:
      return {1.8, 2.7, 0.89};
    case RollingElement::needle:
      break;
  }
  return {2.2, 3.0, 1.0};
}

std::optional<RingRates> ring_rates(const Bearing& bearing, const ShaftRates& rates) {
  const auto shaft = rates.find(bearing.shaft), other = rates.find(bearing.outer_shaft);
  if (shaft == rates.end()) return std::nullopt;
  if (bearing.turning == TurningRing::inner) return RingRates{shaft->second, {}};
  if (bearing.turning == TurningRing::outer) return RingRates{{}, shaft->second};
  if (other == rates.end()) return std::nullopt;
  return RingRates{shaft->second, other->second};
}

}  // namespace gearhark
