// The ranking's weights, one row per EvidenceClass. Written by tests/calibration/run; DEVELOPERS.md says how.
// Fitted 2026-11-27 to 349 invented road tests, seeds 1 to 360.
#pragma once

#include <array>

namespace gearhark::ranking {

struct WeightsRow {
  double base, slope;  // logit = base + slope x heard; of events what is heard beyond `sure` counts for less
};
inline constexpr double sure = 10.0;  // nats
inline constexpr double believed_beyond = 0.464;
inline constexpr std::array<WeightsRow, 11> weights{{
    {-2.157, 0.490},  // bearing
    {-3.041, 0.497},  // wheel_or_carrier_bearing
    {-2.017, 0.526},  // machine
    {-4.571, 0.180},  // cage
    {-1.437, 0.450},  // chipped_tooth
    {-4.075, 0.461},  // dry_joint
    {-1.613, 0.765},  // worn_teeth
    {-1.302, 0.777},  // tyre
    {-1.447, 0.262},  // worn_joint
    {-3.371, 0.413},  // unlisted
    {-2.432, 0.416},  // chipped_gear_pair
}};
// Added for a part of which little is known, twice where nothing is: it is searched more widely, and believed
// less.
inline constexpr double weakly_known_logit = -0.707;

// How often each was true in the cases fitted to: by fault, in the order of Fault; nothing wrong.
inline constexpr std::array<double, 11> fault_shares{0.1691, 0.1375, 0.1519, 0.0315, 0.0917, 0.1060,
                                                     0.0000, 0.0315, 0.0086, 0.0458, 0.0372};
inline constexpr double healthy_share = 0.1891;

}  // namespace gearhark::ranking
