// Tyre sizes as they stand on the sidewall.
#pragma once

#include <string_view>

#include "gearhark/car/car.hpp"

namespace gearhark {

// "185/70R14", "P235/75R15", "185/70-13" (metric); "165R15", "165SR15" (metric without aspect: 80 is taken);
// "5.60-15", "6.00-16" (inch cross-ply).
//
// Overall diameter of metric sizes: rim + 2 x section height, the height rounded to whole millimetres, half
// up (ISO 4000-1). Rolling circumference 3.05 x overall diameter (ETRTO, 60 km/h). Cross-plies: section
// height as remembered from size tables, which differ by maker; hence their wide tolerance. Errors: a size
// that can't be read, among them letter sizes (the sentence says to measure the roll-out).
struct TyreSize {
  Length overall_diameter;
  Length rolling_circumference;
  double relative_tolerance = 0.02;
};
Result<TyreSize> parse_tyre_size(std::string_view designation);

// 3.05 x the overall diameter: the tyre flattens where it stands, so pi x diameter is 3 % too much.
Length rolling_circumference(Length overall_diameter);

// Turns over one mile of 1609.344 m.
double turns_per_mile(Length circumference);

}  // namespace gearhark
