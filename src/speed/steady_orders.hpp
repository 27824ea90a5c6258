// Taking out of a sound what stands still in step with a shaft.
#pragma once

#include "flatten.hpp"

namespace gearhark::tracking {

// Lines that are there all the time at constant orders of this shaft are brought down to the level beside
// them; what moves through those orders stays.
Sound without_steady_orders(const Sound& sound, const AngleTrack& shaft);

}  // namespace gearhark::tracking
