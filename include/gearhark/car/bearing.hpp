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

// What the two rings turn with. Nothing: a shaft that the state does not determine.
struct RingRates {
  Rate inner, outer;
};
std::optional<RingRates> ring_rates(const Bearing& bearing, const ShaftRates& rates);

}  // namespace gearhark
