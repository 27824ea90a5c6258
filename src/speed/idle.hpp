// An engine at a stand, whose lines fit some gear at some road speed by chance.
#pragma once

#include <optional>
#include <span>

#include "gearhark/speed/angle_search.hpp"
#include "ratios.hpp"

namespace gearhark::tracking {

// flat: by the wheel that was found; in gear the engine would turn engine_per_wheel times as fast. Of engines
// at 540 to 1110 rpm the one whose half orders stand out most where the car in gear has no lines, in the
// sound or in the beat of its high part: its turns a second. Nothing: no such engine.
std::optional<double> idling_engine(const FlatSound& flat, double engine_per_wheel,
                                    std::span<const TrackingLine> lines);

}  // namespace gearhark::tracking
