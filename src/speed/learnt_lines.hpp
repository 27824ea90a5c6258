// Lines that nobody predicted, learnt from runs in gear: the tread of this car's own tyres, at the orders
// that their own radii give them.
#pragma once

#include <span>
#include <vector>

#include "car_lines.hpp"
#include "gearhark/car/lines.hpp"
#include "gearhark/speed/angle_search.hpp"
#include "votes.hpp"

namespace gearhark::tracking {

struct StrongOrder {
  double order = 0.0;  // per wheel turn
  double ratio = 0.0;  // mean power over background
};

struct HeardOrders {
  Gear gear;
  std::vector<StrongOrder> orders;
};

// Orders 45 to 200 that stand out in a run whose angle is known, without those of `predicted` and the
// engine's half orders (engine_per_wheel; 0: not tied).
std::vector<StrongOrder> unlisted_orders(const Sound& sound, const AngleTrack& wheel,
                                         std::span<const Line> predicted, double engine_per_wheel);

// What the runs agree on. A line that stays at its order while the gear changes belongs to the road; one
// heard in one gear alone may belong to the engine and counts less.
std::vector<TrackingLine> learnt_lines(std::span<const HeardOrders> runs);

}  // namespace gearhark::tracking
