// The ranking's weights, one row per EvidenceClass. Written by tests/calibration/run; DEVELOPERS.md says how.
// Fitted 2026-11-26 to 231 invented road tests, seeds 1 to 240.
#pragma once

#include <array>

namespace gearhark::ranking {

struct WeightsRow {
  double base, slope;  // logit = base + slope x heard
};
inline constexpr std::array<WeightsRow, 10> weights{{
    {-2.184, 0.265},  // bearing
    {-2.887, 0.236},  // wheel_or_carrier_bearing
    {-1.553, 0.307},  // machine
    {-4.573, 0.180},  // cage
    {-2.129, 0.366},  // chipped_tooth
    {-4.341, 0.350},  // dry_joint
    {-1.405, 0.760},  // worn_teeth
    {-0.028, 0.757},  // tyre
    {-1.309, 0.263},  // worn_joint
    {-3.515, 0.229},  // unlisted
}};
// Added for a part of which little is known, twice where nothing is: it is searched more widely, and believed
// less.
inline constexpr double weakly_known_logit = -0.612;

// How often each was true in the cases fitted to: by fault, in the order of Fault; nothing wrong.
inline constexpr std::array<double, 11> fault_shares{0.1602, 0.1472, 0.1299, 0.0260, 0.0823, 0.1126,
                                                     0.0000, 0.0346, 0.0130, 0.0433, 0.0476};
inline constexpr double healthy_share = 0.2035;

}  // namespace gearhark::ranking
