// Parts that are loud enough to be taken for the engine or the gears, and so lead to a wrong speed.
#pragma once

#include "car_lines.hpp"

namespace gearhark::tracking {

// Adds to lines.wheel the turns of the belt-driven machines heard in this sound beside what is there, each at
// the slip of its belt that fits best. Bearings and joints were tried too and left: with so many families
// some other one than the loud one fitted a wrong speed.
void add_loud_machines(const AngleSearch& search, CarLines& lines);

// Adds the turns of the one gear or tyre that knocks loudly once a turn, if one does.
void add_loud_knock(const AngleSearch& search, const Car& car, const DriveState& state, CarLines& lines);

}  // namespace gearhark::tracking
