// Pictures as inline SVG: readable in print, without script and without colour. Places are percentages, so
// that text keeps its size on every screen.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "gearhark/diagnosis/exhibits.hpp"
#include "gearhark/units/text.hpp"

namespace gearhark::report {

// Round steps (1, 2 or 5 times a power of ten) within low..high, about `wanted` of them.
std::vector<double> ticks(double low, double high, int wanted);

// `says`: what the picture shows, for those who don't see it.
std::string spectrum_svg(const DrawnSpectrum& spectrum, const std::string& says);
std::string speed_svg(const SpeedCurve& curve, SpeedUnit unit, const std::string& says);
std::string map_svg(const OrderMap& map, const std::string& says);

// A bar from 0 to `value` of `most`.
std::string bar_svg(double value, double most);
// An interval with its middle, on an axis from low to high with a line at zero.
struct Interval {
  double low = 0.0, middle = 0.0, high = 0.0;
};
std::string interval_svg(const Interval& interval, double axis_low, double axis_high);

// Grey values, row by row, as a PNG file (stored, not packed).
std::string grey_png(std::size_t width, std::size_t height, const std::vector<std::uint8_t>& grey);

}  // namespace gearhark::report
