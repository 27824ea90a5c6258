// What a sound car sounds like: the orders that say nothing of a fault. The evidence leaves them out, and the
// planner counts what falls on them as not heard.
#pragma once

#include <span>
#include <vector>

#include "gearhark/car/lines.hpp"
#include "gearhark/evidence/envelope_spectra.hpp"

namespace gearhark {

// The shaft whose turns are the order axis.
enum class Reference { wheel, engine };

// Events that slip against the shafts (bearings), and those locked to them (chipped teeth, dry joints).
enum class Events { slipping, locked };

// Engine half orders to 13 and firing to 24 of its turns; for slipping events each shaft's turns 1-6 as well,
// for locked ones the meshes to the third harmonic. Lines that mix two references are left out.
std::vector<MaskedOrder> healthy_orders(const Car& car, const DriveState& state, const ShaftRates& rates,
                                        Reference on, Events events);

// Engine half orders from 0.5 to `highest` of its turns, per wheel turn; none where the engine runs free.
inline constexpr double half_orders_to = 40.0;  // half orders 0.5 .. 40 are known to sound
std::vector<double> engine_half_orders(const ShaftRates& rates, double highest);
// Whether an order lies so near to one of these that no tone is looked for there.
bool near_known(double order, std::span<const double> known);

// Below this order nothing is looked for.
constexpr Order lowest_order(Events events) { return Order(events == Events::slipping ? 1.35 : 0.2); }

// Half difference of the two driven wheels over their mean, for a bend taken at the usual sideways
// acceleration.
double expected_bend(Turn turn, Speed speed);

}  // namespace gearhark
