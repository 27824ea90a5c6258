// Reading quantities as people write them, and writing them back in the unit they used.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "gearhark/units/quantity.hpp"
#include "gearhark/units/result.hpp"

namespace gearhark {

enum class SpeedUnit { kmh, mph, mps, knots };
enum class LengthUnit { mm, cm, m, inch, thou };

struct WrittenSpeed {
  Speed value;
  SpeedUnit unit = SpeedUnit::kmh;
};

struct WrittenLength {
  Length value;
  LengthUnit unit = LengthUnit::mm;
};

// "45mph", "72 km/h", "20 m/s", "39kn". A number without a unit is an error: the sentence says which units
// there are.
Result<WrittenSpeed> parse_speed(std::string_view text);
// "0.008in", "8thou", "0.2mm", "1.93 m", "63.5cm".
Result<WrittenLength> parse_length(std::string_view text);
// "1800rpm", "29.5 Hz", "29.5 turns/s".
Result<ShaftRate> parse_shaft_rate(std::string_view text);
// "90", "90s", "1:30", "0:01:30.5".
Result<Seconds> parse_time(std::string_view text);

// In the unit given, with `digits` after the point: "45.0 mph".
std::string to_text(Speed speed, SpeedUnit unit, int digits = 0);
std::string to_text(Length length, LengthUnit unit, int digits = 2);

// Whole percents without the sign: "85". What is neither nothing nor certain is not said to be: "<1", ">99".
std::string whole_percent(Probability p);

// The pieces between separators, empty ones too.
std::vector<std::string_view> split(std::string_view text, char separator);

// The same with U+FFFD in place of what is no UTF-8, for terminals and JSON.
std::string valid_utf8(std::string_view text);

// Letters to insert, delete or replace to turn one word into the other (Levenshtein).
std::size_t edit_distance(std::string_view a, std::string_view b);

}  // namespace gearhark
