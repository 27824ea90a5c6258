#include "gearhark/car/tyre.hpp"

#include <fmt/format.h>

#include <cctype>
#include <cmath>
#include <optional>
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

std::string capitals_without_spaces(std::string_view text) {
  std::string out;
  for (const char c : text)
    if (c != ' ') out += static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
  return out;
}

// Reads a designation from the left; each method moves past what it finds.
struct Cursor {
  std::string_view rest;

  bool eat(std::string_view word) {
    if (!rest.starts_with(word)) return false;
    rest.remove_prefix(word.size());
    return true;
  }
  std::optional<double> digits(std::size_t fewest, std::size_t most) {
    double value = 0.0;
    std::size_t count = 0;
    for (; !rest.empty() && rest[0] >= '0' && rest[0] <= '9'; rest.remove_prefix(1), ++count)
      value = value * 10.0 + (rest[0] - '0');
    return count >= fewest && count <= most ? std::optional(value) : std::nullopt;
  }
  // Speed letters and construction ("SR", "R", "HR") or a dash, at most `most` letters.
  bool separator(std::size_t most) {
    if (eat("-")) return true;
    std::size_t count = 0;
    for (; !rest.empty() && rest[0] >= 'A' && rest[0] <= 'Z'; rest.remove_prefix(1)) ++count;
    return count > 0 && count <= most;
  }
  bool end() {
    eat("C");  // commercial
    return rest.empty();
  }
};

bool plausible(double section_mm, double aspect, double rim_code) {
  return section_mm >= 80 && section_mm <= 400 && aspect >= 20 && aspect <= 110 && rim_code >= 8 &&
         rim_code <= 24;
}

std::optional<TyreSize> metric_size(Cursor at) {
  if (!at.eat("P")) at.eat("LT");
  const auto section = at.digits(3, 3);
  const auto aspect = at.eat("/") ? at.digits(2, 3) : std::optional(aspect_when_none);
  if (!section || !aspect || !at.separator(3)) return std::nullopt;
  const auto rim = at.digits(2, 2);
  if (!rim || !at.end() || !plausible(*section, *aspect, *rim)) return std::nullopt;
  return metric(*section, *aspect, *rim);
}

std::optional<TyreSize> inch_size(Cursor at) {
  const auto whole = at.digits(1, 2);
  const auto hundredths = at.eat(".") ? at.digits(2, 2) : std::nullopt;
  if (!whole || !hundredths || !at.eat("-")) return std::nullopt;
  const auto rim = at.digits(2, 2);
  const double section = *whole + *hundredths / 100.0;
  if (!rim || !at.end() || !plausible(section * 25.4, 95.0, *rim)) return std::nullopt;
  return cross_ply(section, *rim);
}

}  // namespace

Result<TyreSize> parse_tyre_size(std::string_view designation) {
  const std::string text = capitals_without_spaces(designation);
  if (const auto size = metric_size({text})) return *size;
  if (const auto size = inch_size({text})) return *size;
  return Error{
      fmt::format("the tyre size \"{}\" can't be read; write it like 185/70R14, 165R15 or 5.60-15, "
                  "or measure one turn along the ground and give roll_out = \"1.93 m\" instead",
                  designation)};
}

Length rolling_circumference(Length overall_diameter) { return overall_diameter * rolling_factor; }

double turns_per_mile(Length circumference) { return 1609.344 / circumference.value(); }

}  // namespace gearhark
