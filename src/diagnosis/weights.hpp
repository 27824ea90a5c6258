// The ranking's weights, one row per EvidenceClass. Written by tests/calibration/run; DEVELOPERS.md says how.
// Fitted 2026-11-27 to 350 invented road tests, seeds 1 to 360.
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
inline constexpr double believed_beyond = 0.478;
inline constexpr std::array<WeightsRow, 11> weights{{
    {-2.258, 0.421},  // bearing
    {-3.360, 0.461},  // wheel_or_carrier_bearing
    {-2.070, 0.509},  // machine
    {-4.578, 0.179},  // cage
    {-1.232, 0.412},  // chipped_tooth
    {-3.750, 0.441},  // dry_joint
    {-1.505, 0.769},  // worn_teeth
    {-1.312, 0.774},  // tyre
    {-1.648, 0.265},  // worn_joint
    {-3.282, 0.291},  // unlisted
    {-2.431, 0.333},  // chipped_gear_pair
}};
// Of each nat that runs say against a fault which should have shown in them.
inline constexpr double absence = 0.919;
// Added for a part of which little is known, twice where nothing is: it is searched more widely, and believed
// less.
inline constexpr double weakly_known_logit = -0.789;

// How often each was true in the cases fitted to: by fault, in the order of Fault; nothing wrong.
inline constexpr std::array<double, 11> fault_shares{0.1686, 0.1371, 0.1514, 0.0314, 0.0914, 0.1057,
                                                     0.0000, 0.0314, 0.0086, 0.0457, 0.0371};
inline constexpr double healthy_share = 0.1914;

}  // namespace gearhark::ranking
