// The stated speed as a prior on the wheel's rate.
#pragma once

#include <span>

#include "gearhark/speed/angle_search.hpp"
#include "gearhark/speed/tracking.hpp"

namespace gearhark::tracking {

// What the stated speed says of the wheel rate over a recording this long. turns_per_metre: of the nominal
// tyre.
RatePrior rate_prior(const StatedSpeed& stated, double duration_s, double turns_per_metre, Load load);

// Of an engine that does not turn with the road: between idling at speed and well ahead of it. ratio: its
// turns per wheel turn were they tied; lines: its own.
RatePrior engine_apart_prior(const AngleTrack& wheel, double ratio, std::span<const TrackingLine> lines);

}  // namespace gearhark::tracking
