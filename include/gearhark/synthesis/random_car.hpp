// Invented but plausible cars, for calibration and tests.
#pragma once

#include <cstdint>

#include "gearhark/car/car.hpp"

namespace gearhark {

// One of the three usual layouts (rear transaxle, front engine with live axle, transverse front drive) with
// random tooth counts, bearings and tyre, in the general form. Of some bearings only the element count is
// known, of some nothing, as in real car files; synthesise() then draws what they really are. The same seed
// gives the same car.
Car random_car(std::uint64_t seed);

}  // namespace gearhark
