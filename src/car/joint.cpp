#include "gearhark/car/joint.hpp"

#include <cmath>
#include <numbers>

namespace gearhark {
namespace {

double radians(double degrees) { return degrees * std::numbers::pi / 180.0; }

}  // namespace

double hooke_ratio(double angle_degrees, Turns driving) {
  const double b = radians(angle_degrees),
               across = std::sin(b) * std::cos(2.0 * std::numbers::pi * driving.value());
  return std::cos(b) / (1.0 - across * across);
}

double hooke_unevenness(double angle_degrees) {
  const double b = radians(angle_degrees);
  return std::tan(b) * std::sin(b);
}

}  // namespace gearhark
