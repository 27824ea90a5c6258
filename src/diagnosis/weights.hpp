// The ranking's weights, one row per EvidenceClass. Written by tests/calibration/run; DEVELOPERS.md says how.
// Fitted 2026-11-27 to 349 invented road tests, seeds 1 to 360.
#pragma once

#include <array>

namespace gearhark::ranking {

struct WeightsRow {
  double base, slope;  // logit = base + slope x heard; of events what is heard beyond `sure` counts for less
};
inline constexpr double sure = 10.0;  // nats
inline constexpr double believed_beyond = 0.424;
inline constexpr std::array<WeightsRow, 11> weights{{
    {-2.310, 0.605},  // bearing
    {-3.343, 0.625},  // wheel_or_carrier_bearing
    {-2.126, 0.735},  // machine
    {-4.578, 0.179},  // cage
    {-1.397, 0.535},  // chipped_tooth
    {-3.748, 0.600},  // dry_joint
    {-1.497, 0.768},  // worn_teeth
    {-1.284, 0.778},  // tyre
    {-1.614, 0.265},  // worn_joint
    {-3.274, 0.509},  // unlisted
    {-2.428, 0.495},  // chipped_gear_pair
}};
// Added for a part of which little is known, twice where nothing is: it is searched more widely, and believed
// less.
inline constexpr double weakly_known_logit = -0.786;

// How often each was true in the cases fitted to: by fault, in the order of Fault; nothing wrong.
inline constexpr std::array<double, 11> fault_shares{0.1691, 0.1375, 0.1519, 0.0315, 0.0917, 0.1060,
                                                     0.0000, 0.0315, 0.0086, 0.0458, 0.0372};
inline constexpr double healthy_share = 0.1891;

}  // namespace gearhark::ranking
