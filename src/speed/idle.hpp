// An engine at a stand, whose lines fit some gear at some road speed by being a few times slower.
#pragma once

#include <optional>
#include <span>

#include "gearhark/speed/angle_search.hpp"
#include "ratios.hpp"

namespace gearhark::tracking {

// flat: by the wheel that was found; in gear the engine would turn engine_per_wheel times as fast. Of engines
// 1.5, 2, 2.5 ... times slower, at 420 to 1500 rpm, the one whose lines in between stand out as well: its
// turns a second. Nothing: no such engine.
std::optional<double> idling_engine(const FlatSound& flat, double engine_per_wheel,
                                    std::span<const TrackingLine> lines);

}  // namespace gearhark::tracking
