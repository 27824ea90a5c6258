// The scale of an angle whose shape over time is known already.
#pragma once

#include <span>

#include "votes.hpp"

namespace gearhark::tracking {

struct ScaleGuess {
  double deviation = 0.0;  // true rate = flattening rate x (1 + deviation)
  double sd = 0.0;
  double score = 0.0;   // nats
  double margin = 0.0;  // nats to the best scale more than 0.5 % away
  double gears = 0.0;   // of the margin to a scale 0.3 to 0.8 % away, nats: what the gear lines alone say
};

// Long frames, as nothing moves any more in the flat sound; the gear lines bind the scale, whereas each tyre
// has whole orders of its own radius, up to about 0.5 % off the driven wheels' mean. prior: of the deviation.
ScaleGuess fine_scale(const FlatSound& flat, std::span<const TrackingLine> lines, const Grid& grid,
                      double prior_mean, double prior_sd);

}  // namespace gearhark::tracking
