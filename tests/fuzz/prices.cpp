// Any text is a price list or is refused in one sentence; whatever is read can be decided by.
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdlib>

#include "gearhark/repair/decide.hpp"

using namespace gearhark;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const Car car = *load_car(GEARHARK_SOURCE_DIR "/models/heron_rear_transaxle.toml");
  const auto prices = read_prices({reinterpret_cast<const char*>(data), size}, "fuzz", car);
  if (!prices) return prices.error().sentence.empty() ? std::abort(), 0 : 0;
  const Chances chances{car.name,
                        "fault heard",
                        {{"pinion_head_bearing", "", Probability(0.8)}},
                        Probability(0.1),
                        Probability(0.1)};
  for (const Option& option : decide(car, chances, *prices).options)
    if (!std::isfinite(option.expected)) std::abort();
  return 0;
}
