// The ranking's weights, one row per EvidenceClass. Written by tests/calibration/run; DEVELOPERS.md says how.
// Fitted 2026-11-27 to 349 invented road tests, seeds 1 to 360.
#pragma once

#include <array>

namespace gearhark::ranking {

struct WeightsRow {
  double base, slope;  // logit = base + slope x heard; of events what is heard beyond `sure` counts for less
};
inline constexpr double sure = 10.0;  // nats
inline constexpr double believed_beyond = 0.484;
inline constexpr std::array<WeightsRow, 11> weights{{
    {-2.154, 0.520},  // bearing
    {-3.020, 0.521},  // wheel_or_carrier_bearing
    {-1.930, 0.527},  // machine
    {-4.571, 0.180},  // cage
    {-1.433, 0.464},  // chipped_tooth
    {-4.059, 0.468},  // dry_joint
    {-1.604, 0.765},  // worn_teeth
    {-1.349, 0.768},  // tyre
    {-1.456, 0.262},  // worn_joint
    {-3.304, 0.440},  // unlisted
    {-2.431, 0.427},  // chipped_gear_pair
}};
// Added for a part of which little is known, twice where nothing is: it is searched more widely, and believed
// less.
inline constexpr double weakly_known_logit = -0.698;

// How often each was true in the cases fitted to: by fault, in the order of Fault; nothing wrong.
inline constexpr std::array<double, 11> fault_shares{0.1691, 0.1375, 0.1519, 0.0315, 0.0917, 0.1060,
                                                     0.0000, 0.0315, 0.0086, 0.0458, 0.0372};
inline constexpr double healthy_share = 0.1891;

}  // namespace gearhark::ranking
