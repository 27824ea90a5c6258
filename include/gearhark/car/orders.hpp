// The table of what each part should sound like, for people: one row per part and happening.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gearhark/car/lines.hpp"

namespace gearhark {

struct OrdersQuestion {
  DriveState state;
  std::optional<Speed> speed;       // over the road
  std::optional<ShaftRate> engine;  // crankshaft; in gear it may stand in for the speed
};

struct OrderRow {
  std::string part, name;  // part ID (or shaft ID) and the name people use
  std::string happening;   // "turns", "teeth mesh, idling", "defect on the outer race", ...
  // Cycles per turn; nothing where the line does not follow that shaft (engine parts in neutral have no wheel
  // order).
  std::optional<Order> per_wheel, per_engine;
  double low = 0.0, high = 0.0;  // relative tolerance of the orders: rounding of ratios, slip, unknown sizes
  std::optional<Hertz> frequency;  // nothing where the speed it follows was not given
  double frequency_low = 0.0,
         frequency_high = 0.0;  // the same with the tyre's tolerance where the speed came from the road
};

struct OrderTable {
  std::string car;
  std::vector<std::string> gears;  // the car's, "N" among them
  OrdersQuestion asked;
  std::optional<ShaftRate> wheel, engine;  // as they follow from what was asked
  std::vector<OrderRow> rows;              // lowest frequency first; without speed, lowest order first
};

// Fundamentals only: harmonics and sidebands are left to the reader's arithmetic.
// Errors: a gear the car lacks; speed or engine speed not above zero, or beyond 500 km/h or 20000 rpm; both
// given in gear.
Result<OrderTable> order_table(const Car& car, const OrdersQuestion& question);

}  // namespace gearhark
