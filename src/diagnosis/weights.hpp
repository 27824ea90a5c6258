// The ranking's weights, one row per EvidenceClass. Written by tests/calibration/run; DEVELOPERS.md says how.
#pragma once

#include <array>

namespace gearhark::ranking {

struct WeightsRow {
  double base, slope;  // logit = base + slope x heard
};
inline constexpr std::array<WeightsRow, 10> weights{{
    {-2.600, 0.300},  // bearing
    {-3.000, 0.300},  // wheel_or_carrier_bearing
    {-2.400, 0.300},  // machine
    {-4.500, 0.180},  // cage
    {-3.000, 0.400},  // chipped_tooth
    {-4.300, 0.350},  // dry_joint
    {-3.000, 0.600},  // worn_teeth
    {-3.000, 0.800},  // tyre
    {-3.500, 0.250},  // worn_joint
    {-4.000, 0.300},  // unlisted
}};
// Added for a part of which little is known, twice where nothing is: it is searched more widely, and believed
// less.
inline constexpr double weakly_known_logit = -0.500;

}  // namespace gearhark::ranking
