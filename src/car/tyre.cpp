#include "gearhark/car/tyre.hpp"

#include <fmt/format.h>

#include <cmath>
#include <regex>
#include <string>

namespace gearhark {
namespace {

constexpr double rolling_factor =
    3.05;  // ETRTO Standards Manual: rolling circumference at 60 km/h / overall diameter
constexpr double tread_and_make =
    0.02;  // wear and the spread between makes: common practice, no published source
constexpr double cross_ply_spread = 0.035;
constexpr double aspect_when_none = 80.0;

double rim_diameter_mm(double code) { return std::floor(code * 25.4 + 0.5); }

TyreSize rolled(double diameter_mm, double tolerance) {
  const Length diameter(diameter_mm / 1000.0);
  return {diameter, rolling_circumference(diameter), tolerance};
}

TyreSize metric(double section_mm, double aspect, double rim_code) {
  const double height = std::floor(section_mm * aspect / 100.0 + 0.5);
  return rolled(rim_diameter_mm(rim_code) + 2.0 * height, tread_and_make);
}

// Section height over nominal section. From memory, from the overall diameters of 5.20-13, 5.60-13, 5.60-15
// and 6.40-15 (0.95 within 0.5 %) and of 6.00-16, 6.50-16, 7.00-16 (1.045 within 1 %); 7.60-15 (0.90) is of
// another age.
double cross_ply_height_ratio(double rim_code) { return rim_code >= 16.0 ? 1.045 : 0.95; }

TyreSize cross_ply(double section_inch, double rim_code) {
  const double height = cross_ply_height_ratio(rim_code) * section_inch * 25.4;
  return rolled(rim_diameter_mm(rim_code) + 2.0 * height, cross_ply_spread);
}

std::string without_spaces(std::string_view text) {
  std::string out;
  for (const char c : text)
    if (c != ' ') out += c;
  return out;
}

bool plausible(double section_mm, double aspect, double rim_code) {
  return section_mm >= 80 && section_mm <= 400 && aspect >= 20 && aspect <= 110 && rim_code >= 8 &&
         rim_code <= 24;
}

}  // namespace

Result<TyreSize> parse_tyre_size(std::string_view designation) {
  static const std::regex with_aspect("(?:P|LT)?(\\d{3})/(\\d{2,3})[A-Z]{0,2}[-R]?(\\d{2})C?",
                                      std::regex::icase);
  static const std::regex without_aspect("(\\d{3})(?:[A-Z]?R|-)(\\d{2})C?", std::regex::icase);
  static const std::regex inches("(\\d{1,2}\\.\\d{2})-(\\d{2})", std::regex::icase);
  const std::string text = without_spaces(designation);
  std::smatch m;
  if (std::regex_match(text, m, with_aspect) && plausible(std::stod(m[1]), std::stod(m[2]), std::stod(m[3])))
    return metric(std::stod(m[1]), std::stod(m[2]), std::stod(m[3]));
  if (std::regex_match(text, m, without_aspect) &&
      plausible(std::stod(m[1]), aspect_when_none, std::stod(m[2])))
    return metric(std::stod(m[1]), aspect_when_none, std::stod(m[2]));
  if (std::regex_match(text, m, inches) && plausible(std::stod(m[1]) * 25.4, 95.0, std::stod(m[2])))
    return cross_ply(std::stod(m[1]), std::stod(m[2]));
  return Error{
      fmt::format("the tyre size \"{}\" can't be read; write it like 185/70R14, 165R15 or 5.60-15, "
                  "or measure one turn along the ground and give roll_out = \"1.93 m\" instead",
                  designation)};
}

Length rolling_circumference(Length overall_diameter) { return overall_diameter * rolling_factor; }

double turns_per_mile(Length circumference) { return 1609.344 / circumference.value(); }

}  // namespace gearhark
