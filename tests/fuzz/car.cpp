// Any text is a car or is refused in one sentence; whatever is read can be asked for all its lines.
#include <cstddef>
#include <cstdint>
#include <cstdlib>

#include "gearhark/car/orders.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto car = gearhark::read_car({reinterpret_cast<const char*>(data), size}, "fuzz");
  if (!car) return car.error().sentence.empty() ? std::abort(), 0 : 0;
  for (const gearhark::Gear& gear : car->gears) {
    gearhark::OrdersQuestion question;
    question.state.gear = gear;
    const auto table = gearhark::order_table(*car, question);
    if (!table && table.error().sentence.empty()) std::abort();
  }
  return 0;
}
