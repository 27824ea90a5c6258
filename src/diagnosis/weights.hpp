// The ranking's weights, one row per EvidenceClass. Written by tests/calibration/run; DEVELOPERS.md says how.
// Fitted 2026-11-26 to 231 invented road tests, seeds 1 to 240.
#pragma once

#include <array>

namespace gearhark::ranking {

struct WeightsRow {
  double base, slope;  // logit = base + slope x heard
};
inline constexpr std::array<WeightsRow, 11> weights{{
    {-2.175, 0.279},  // bearing
    {-3.024, 0.275},  // wheel_or_carrier_bearing
    {-1.847, 0.311},  // machine
    {-4.573, 0.180},  // cage
    {-1.815, 0.383},  // chipped_tooth
    {-4.228, 0.363},  // dry_joint
    {-1.507, 0.753},  // worn_teeth
    {-3.000, 0.900},  // tyre
    {-1.422, 0.271},  // worn_joint
    {-3.367, 0.257},  // unlisted
    {-3.000, 0.392},  // chipped_gear_pair
}};
// Added for a part of which little is known, twice where nothing is: it is searched more widely, and believed
// less.
inline constexpr double weakly_known_logit = -0.644;

// How often each was true in the cases fitted to: by fault, in the order of Fault; nothing wrong.
inline constexpr std::array<double, 11> fault_shares{0.1558, 0.1515, 0.1299, 0.0260, 0.0823, 0.1126,
                                                     0.0000, 0.0346, 0.0130, 0.0433, 0.0476};
inline constexpr double healthy_share = 0.2035;

}  // namespace gearhark::ranking
