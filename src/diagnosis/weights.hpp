// The ranking's weights, one row per EvidenceClass. Written by tests/calibration/run; DEVELOPERS.md says how.
// Fitted 2026-11-28 to 350 invented road tests, seeds 1 to 360.
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
inline constexpr double believed_beyond = 0.439;
inline constexpr std::array<WeightsRow, 11> weights{{
    {-2.369, 0.434},  // bearing
    {-3.339, 0.440},  // wheel_or_carrier_bearing
    {-2.065, 0.513},  // machine
    {-4.574, 0.179},  // cage
    {-1.223, 0.388},  // chipped_tooth
    {-3.784, 0.464},  // dry_joint
    {-1.503, 0.769},  // worn_teeth
    {-1.310, 0.773},  // tyre
    {-1.650, 0.265},  // worn_joint
    {-3.297, 0.285},  // unlisted
    {-2.431, 0.299},  // chipped_gear_pair
}};
// Of each nat that runs say against a fault which should have shown in them.
inline constexpr double absence = 0.901;
// Of each nat by which another part is the better explanation of the same lines.
inline constexpr double second_best = 0.350;
// Added for a part of which little is known, twice where nothing is, besides what the wider search costs it.
inline constexpr double weakly_known_logit = -0.508;

// How often each was true in the cases fitted to: by fault, in the order of Fault; nothing wrong.
inline constexpr std::array<double, 11> fault_shares{0.1686, 0.1371, 0.1514, 0.0314, 0.0914, 0.1057,
                                                     0.0000, 0.0314, 0.0086, 0.0457, 0.0371};
inline constexpr double healthy_share = 0.1914;

}  // namespace gearhark::ranking
