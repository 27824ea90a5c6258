// The ranking's weights, one row per EvidenceClass. Written by tests/calibration/run; DEVELOPERS.md says how.
// Fitted 2026-11-26 to 233 invented road tests, seeds 1 to 240.
#pragma once

#include <array>

namespace gearhark::ranking {

struct WeightsRow {
  double base, slope;  // logit = base + slope x heard
};
inline constexpr std::array<WeightsRow, 10> weights{{
    {-2.084, 0.267},  // bearing
    {-2.968, 0.260},  // wheel_or_carrier_bearing
    {-1.558, 0.307},  // machine
    {-4.573, 0.180},  // cage
    {-2.161, 0.360},  // chipped_tooth
    {-4.341, 0.350},  // dry_joint
    {-1.485, 0.753},  // worn_teeth
    {-0.001, 0.754},  // tyre
    {-1.269, 0.266},  // worn_joint
    {-3.435, 0.240},  // unlisted
}};
// Added for a part of which little is known, twice where nothing is: it is searched more widely, and believed
// less.
inline constexpr double weakly_known_logit = -0.553;

// How often each was true in the cases fitted to: by fault, in the order of Fault; nothing wrong.
inline constexpr std::array<double, 11> fault_shares{0.1588, 0.1502, 0.1288, 0.0258, 0.0815, 0.1116,
                                                     0.0000, 0.0343, 0.0129, 0.0429, 0.0472};
inline constexpr double healthy_share = 0.2060;

}  // namespace gearhark::ranking
