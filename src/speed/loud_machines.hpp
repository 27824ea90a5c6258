// Belt-driven machines that are loud enough to be taken for the engine or the gears.
#pragma once

#include <vector>

#include "car_lines.hpp"

namespace gearhark::tracking {

// The turns of the machines heard in this sound beside `lines`, each at the slip of its belt that fits best;
// empty where none is. Bearings, joints and tyres were tried too and left: with so many families some other
// one than the loud one fitted a wrong speed.
std::vector<TrackingLine> loud_machines(const AngleSearch& search, const CarLines& lines);

}  // namespace gearhark::tracking
