// Evidence in tones locked to shafts: worn gears, worn joints.
//
// Healthy gears mesh audibly, so the level of a mesh line says little. What wear adds is a modulation once
// per turn of the worn gear: pairs of sidebands, the same distance above and below every harmonic. A chance
// neighbour (another pair, an engine order) strengthens one side only; the weaker of the two is what counts.
// A shaft whose turns sound by themselves (the input shaft's are engine orders) has lines at every such
// distance; wear's stay near the mesh, so what stands at the further distances is taken off.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "gearhark/evidence/heard_run.hpp"

namespace gearhark {

inline constexpr int mesh_harmonics = 4, mesh_side_orders = 2, first_far_side = 4, last_far_side = 7;
inline constexpr Hertz highest_mesh{6500.0};  // a phone's recording holds little of use above
struct MeshEvidence {
  Decibels sidebands;  // mean over harmonics 1-4 and side orders 1-2 of the weaker of each pair, over the
                       // background, less the same mean over side orders 4-7
  Decibels carrier;    // mean over the harmonics of the mesh line itself
  int pairs = 0;       // pairs of sidebands that could be looked at
};
// Orders of the spectrum's reference. Nothing: no harmonic lies in the band.
std::optional<MeshEvidence> mesh_evidence(const OrderSpectrum& tones, double mesh, double modulation,
                                          Hertz highest);

// How far the even orders of a shaft stand above the odd ones, as a worn cardan joint makes them: level of
// 2x.
struct JointEvidence {
  Decibels twice;  // 2x over the background
};
std::optional<JointEvidence> joint_evidence(const OrderSpectrum& tones, double shaft,
                                            std::span<const double> known);

}  // namespace gearhark
