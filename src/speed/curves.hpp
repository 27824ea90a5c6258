// The first guess where few lines are heard: whole smooth curves instead of a path from moment to moment.
#pragma once

#include <span>

#include "votes.hpp"

namespace gearhark::tracking {

// Of the mean deviation; RatePrior speaks of the deviation at the two ends.
struct MeanPrior {
  double mean = 0.0, sd = 0.0, low = 0.0, high = 0.0;
};
MeanPrior mean_prior(const RatePrior& prior);

struct CurveGuess {
  AngleTrack track;
  double score = 0.0;  // nats
};

// The best curves whose mean rates lie at least 0.8 % apart, best first, four at most.
std::vector<CurveGuess> best_curves(const Sound& sound, std::span<const TrackingLine> lines,
                                    const RatePrior& prior);

}  // namespace gearhark::tracking
