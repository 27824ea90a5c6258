// Kinematics of a rolling bearing of which both rings may turn.
#pragma once

#include <optional>

#include "gearhark/car/driveline.hpp"

namespace gearhark {

// With n elements of diameter d on the pitch circle D, contact angle a, gamma = d/D cos a, ring rates inner
// and outer:
//   outer_race       n/2 (1 - gamma) (inner - outer)
//   inner_race       n/2 (1 + gamma) (inner - outer)
//   spin             cos(a) (1 - gamma^2) / (2 gamma) (inner - outer); a defect on an element strikes twice
//   per spin cage             ((1 - gamma) inner + (1 + gamma) outer) / 2
// Rolling without slip; Harris and Kotzalas, Rolling Bearing Analysis; Randall and Antoni, MSSP 25(2) 2011.
struct BearingRates {
  Rate outer_race, inner_race, spin, cage;
};

// Needs bearing.geometry_known().
BearingRates bearing_rates(const Bearing& bearing, const Rate& inner, const Rate& outer);

// n gamma of bearings as they are made: how much of the pitch circle the elements fill, times cos(a) and pi. A
// cage leaves gaps, and balls must be let in between the rings. Balls: 1.51 to 1.89 in the published bearings
// of tests/car/bearing.cpp, where the one of rollers (IMS ZA-2115) has 1.82; the rest is common practice, no
// published source. smallest_cosine: of the contact angle (taper rollers to 27 degrees, angular balls to 40).
struct Filling {
  double least, most, smallest_cosine;
};
Filling usual_filling(RollingElement element);

// What the two rings turn with. Nothing: a shaft that the state does not determine.
struct RingRates {
  Rate inner, outer;
};
std::optional<RingRates> ring_rates(const Bearing& bearing, const ShaftRates& rates);

}  // namespace gearhark
