// The ranking's weights, one row per EvidenceClass. Written by tests/calibration/run; DEVELOPERS.md says how.
// Fitted 2026-11-27 to 349 invented road tests, seeds 1 to 360.
#pragma once

#include <array>

#include "gearhark/car/lines.hpp"

namespace gearhark::ranking {

struct WeightsRow {
  // logit = base + slope x heard; of events the slope is for what is heard beyond `in_full`, up to which nats
  // count as they are (a cage's from 0), and beyond `sure` it is `believed_beyond` of it
  double base, slope;
};
inline constexpr double in_full = 4.0, sure = 10.0;  // nats
// How many nats of events count as they are. Of a cage none: its lines lie low, where looseness and a ball's
// own changes sound too (both ball records of the open bearing data were named for cages).
constexpr double in_full_of(Fault fault) { return fault == Fault::cage ? 0.0 : in_full; }
inline constexpr double believed_beyond = 0.490;
inline constexpr std::array<WeightsRow, 11> weights{{
    {-2.245, 0.431},  // bearing
    {-3.343, 0.472},  // wheel_or_carrier_bearing
    {-2.060, 0.512},  // machine
    {-4.578, 0.179},  // cage
    {-1.268, 0.408},  // chipped_tooth
    {-3.738, 0.448},  // dry_joint
    {-1.500, 0.769},  // worn_teeth
    {-1.302, 0.774},  // tyre
    {-1.638, 0.265},  // worn_joint
    {-3.260, 0.307},  // unlisted
    {-2.421, 0.329},  // chipped_gear_pair
}};
// Of each nat that runs say against a fault which should have shown in them.
inline constexpr double absence = 0.939;
// Added for a part of which little is known, twice where nothing is: it is searched more widely, and believed
// less.
inline constexpr double weakly_known_logit = -0.784;

// How often each was true in the cases fitted to: by fault, in the order of Fault; nothing wrong.
inline constexpr std::array<double, 11> fault_shares{0.1691, 0.1375, 0.1519, 0.0315, 0.0917, 0.1060,
                                                     0.0000, 0.0315, 0.0086, 0.0458, 0.0372};
inline constexpr double healthy_share = 0.1891;

}  // namespace gearhark::ranking
