#include "gearhark/units/text.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <cmath>
#include <nlohmann/json.hpp>
#include <numeric>
#include <optional>
#include <span>
#include <vector>

namespace gearhark {
namespace {

constexpr double metres_per_second_per_knot = 1852.0 / 3600.0;  // exact by definition of the nautical mile
constexpr double metres_per_inch = 0.0254;                      // exact by definition

template <class Unit>
struct UnitName {
  std::string_view word;
  Unit unit;
  double si;  // one of it in m/s, m, 1/s
};

// The first word of each unit is the one that is printed.
constexpr std::array speed_units{
    UnitName<SpeedUnit>{"km/h", SpeedUnit::kmh, 1.0 / 3.6},
    UnitName<SpeedUnit>{"kmh", SpeedUnit::kmh, 1.0 / 3.6},
    UnitName<SpeedUnit>{"kph", SpeedUnit::kmh, 1.0 / 3.6},
    UnitName<SpeedUnit>{"mph", SpeedUnit::mph, 0.44704},
    UnitName<SpeedUnit>{"m/s", SpeedUnit::mps, 1.0},
    UnitName<SpeedUnit>{"mps", SpeedUnit::mps, 1.0},
    UnitName<SpeedUnit>{"kn", SpeedUnit::knots, metres_per_second_per_knot},
    UnitName<SpeedUnit>{"knots", SpeedUnit::knots, metres_per_second_per_knot},
};

constexpr std::array length_units{
    UnitName<LengthUnit>{"mm", LengthUnit::mm, 1e-3},
    UnitName<LengthUnit>{"cm", LengthUnit::cm, 1e-2},
    UnitName<LengthUnit>{"m", LengthUnit::m, 1.0},
    UnitName<LengthUnit>{"in", LengthUnit::inch, metres_per_inch},
    UnitName<LengthUnit>{"inch", LengthUnit::inch, metres_per_inch},
    UnitName<LengthUnit>{"\"", LengthUnit::inch, metres_per_inch},
    UnitName<LengthUnit>{"thou", LengthUnit::thou, metres_per_inch / 1000.0},
};

enum class RateUnit { per_minute, per_second };
constexpr std::array rate_units{
    UnitName<RateUnit>{"rpm", RateUnit::per_minute, 1.0 / 60.0},
    UnitName<RateUnit>{"r/min", RateUnit::per_minute, 1.0 / 60.0},
    UnitName<RateUnit>{"Hz", RateUnit::per_second, 1.0},
    UnitName<RateUnit>{"turns/s", RateUnit::per_second, 1.0},
    UnitName<RateUnit>{"rev/s", RateUnit::per_second, 1.0},
};

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && std::isspace(static_cast<unsigned char>(text.front()))) text.remove_prefix(1);
  while (!text.empty() && std::isspace(static_cast<unsigned char>(text.back()))) text.remove_suffix(1);
  return text;
}

std::string lower(std::string_view text) {
  std::string out(text);
  for (char& c : out) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return out;
}

// The number at the start of `text`, which is moved past it. Nothing: there is none, or it is not finite.
std::optional<double> take_number(std::string_view& text) {
  double value = 0.0;
  const auto [end, error] =
      std::from_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed);
  if (error != std::errc{} || !std::isfinite(value)) return std::nullopt;
  text.remove_prefix(static_cast<std::size_t>(end - text.data()));
  return value;
}

template <class Unit, std::size_t N>
const UnitName<Unit>* find_unit(const std::array<UnitName<Unit>, N>& units, std::string_view word) {
  for (const auto& unit : units)
    if (lower(unit.word) == lower(word)) return &unit;
  return nullptr;
}

struct Wording {
  std::string_view quantity, examples;
};

// Number and unit, or a sentence that shows how to write it.
template <class Unit, std::size_t N>
Result<std::pair<double, const UnitName<Unit>*>> parse(std::string_view text,
                                                       const std::array<UnitName<Unit>, N>& units,
                                                       Wording wording) {
  std::string_view rest = trimmed(text);
  const auto number = take_number(rest);
  if (!number)
    return Error{fmt::format("\"{}\" is not a {}; write a number with its unit, such as {}", text,
                             wording.quantity, wording.examples)};
  rest = trimmed(rest);
  if (rest.empty())
    return Error{fmt::format("the {} \"{}\" has no unit; write for example {}", wording.quantity, text,
                             wording.examples)};
  const auto* unit = find_unit(units, rest);
  if (!unit)
    return Error{fmt::format("\"{}\" is not a unit of {} that is known here; write for example {}", rest,
                             wording.quantity, wording.examples)};
  return std::pair{*number * unit->si, unit};
}

template <class Unit, std::size_t N>
const UnitName<Unit>& printed(const std::array<UnitName<Unit>, N>& units, Unit unit) {
  for (const auto& name : units)
    if (name.unit == unit) return name;
  return units.front();
}

// Hours, minutes, seconds of "0:01:30.5"; only the last may have a fraction and only the first may exceed 59.
std::optional<double> clock_seconds(std::string_view text) {
  const auto parts = split(text, ':');
  if (parts.size() > 3) return std::nullopt;
  double seconds = 0.0;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    std::string_view part = parts[i];
    const bool digits_first = !part.empty() && std::isdigit(static_cast<unsigned char>(part.front()));
    const auto number = digits_first ? take_number(part) : std::nullopt;
    const bool last = i + 1 == parts.size();
    if (!number || !part.empty() || (i > 0 && *number >= 60.0) || (!last && *number != std::floor(*number)))
      return std::nullopt;
    seconds = seconds * 60.0 + *number;
  }
  return seconds;
}

}  // namespace

Result<WrittenSpeed> parse_speed(std::string_view text) {
  const auto parsed = parse(text, speed_units, {"speed", "45mph, 72km/h, 20m/s or 39kn"});
  if (!parsed) return parsed.error();
  return WrittenSpeed{Speed(parsed->first), parsed->second->unit};
}

Result<WrittenLength> parse_length(std::string_view text) {
  const auto parsed = parse(text, length_units, {"length", "0.2mm, 63.5cm, 1.93m, 0.008in or 8thou"});
  if (!parsed) return parsed.error();
  return WrittenLength{Length(parsed->first), parsed->second->unit};
}

Result<ShaftRate> parse_shaft_rate(std::string_view text) {
  const auto parsed = parse(text, rate_units, {"shaft speed", "1800rpm, 29.5Hz or 29.5turns/s"});
  if (!parsed) return parsed.error();
  return ShaftRate(parsed->first);
}

Result<Seconds> parse_time(std::string_view text) {
  std::string_view body = trimmed(text);
  if (body.ends_with('s') && body.find(':') == std::string_view::npos)
    body = trimmed(body.substr(0, body.size() - 1));
  if (const auto seconds = clock_seconds(body)) return Seconds(*seconds);
  return Error{fmt::format(
      "\"{}\" is not a time; write seconds such as 90 or 90s, or minutes and seconds such as 1:30", text)};
}

std::string to_text(Speed speed, SpeedUnit unit, int digits) {
  const auto& name = printed(speed_units, unit);
  return fmt::format("{:.{}f} {}", speed.value() / name.si, digits, name.word);
}

std::string to_text(Length length, LengthUnit unit, int digits) {
  const auto& name = printed(length_units, unit);
  return fmt::format("{:.{}f} {}", length.value() / name.si, digits, name.word);
}

std::string whole_percent(Probability p) {
  if (p.value() > 0.0 && p.value() < 0.005) return "<1";
  if (p.value() < 1.0 && p.value() >= 0.995) return ">99";
  return fmt::format("{:.0f}", 100.0 * p.value());
}

std::vector<std::string_view> split(std::string_view text, char separator) {
  std::vector<std::string_view> parts;
  for (;;) {
    const auto at = text.find(separator);
    parts.push_back(text.substr(0, at));
    if (at == std::string_view::npos) return parts;
    text.remove_prefix(at + 1);
  }
}

std::string valid_utf8(std::string_view text) {
  using Json = nlohmann::json;
  return Json::parse(Json(text).dump(-1, ' ', false, Json::error_handler_t::replace)).get<std::string>();
}

std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 0; i < a.size(); ++i) {
    std::size_t diagonal = row[0]++;
    for (std::size_t j = 0; j < b.size(); ++j) {
      const std::size_t replaced = diagonal + (a[i] == b[j] ? 0 : 1);
      diagonal = row[j + 1];
      row[j + 1] = std::min({replaced, row[j] + 1, row[j + 1] + 1});
    }
  }
  return row.back();
}

}  // namespace gearhark
