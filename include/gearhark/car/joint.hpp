// Hooke's (cardan) joint: at an angle the driven shaft runs fast and slow twice per turn.
#pragma once

#include "gearhark/units/quantity.hpp"

namespace gearhark {

// Driven over driving rate, cos b / (1 - sin^2 b cos^2 t), at joint angle b and driving angle t. At t = 0 it
// is at its highest, 1 / cos b; a quarter turn on at its lowest, cos b.
double hooke_ratio(double angle_degrees, Turns driving);

// Highest less lowest ratio, tan b sin b.
double hooke_unevenness(double angle_degrees);

}  // namespace gearhark
