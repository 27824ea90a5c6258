#include <fmt/format.h>

#include "gearhark/diagnosis/road_test.hpp"
#include "gearhark/units/text.hpp"

namespace gearhark {
namespace {

constexpr Speed fastest{500.0 / 3.6};
constexpr ShaftRate fastest_shaft{20000.0 / 60.0};

std::string_view trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(" \t");
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(" \t") + 1 - first);
}

Result<WrittenSpeed> usable_speed(std::string_view text) {
  auto speed = parse_speed(trimmed(text));
  if (speed && !(speed->value > Speed(0) && speed->value <= fastest))
    return Error{fmt::format("the speed \"{}\" can't be right; expected more than 0 and at most {}",
                             trimmed(text), to_text(fastest, speed->unit))};
  return speed;
}

// "0:20 50 mph"
std::optional<Error> add_point(StatedSpeed& stated, std::string_view text) {
  const auto space = text.find(' ');
  const auto time = parse_time(text.substr(0, space));
  if (space == std::string_view::npos || !time)
    return Error{fmt::format("\"{}\" is not a time and a speed; write for example \"0:20 50 mph\"", text)};
  const auto speed = usable_speed(text.substr(space));
  if (!speed) return speed.error();
  if (!stated.points.empty() && *time <= stated.points.back().time)
    return Error{fmt::format("the time of \"{}\" is not after the one before it; list them in order", text)};
  stated.points.push_back({*time, speed->value});
  stated.unit = speed->unit;
  return std::nullopt;
}

Result<StatedSpeed> points(std::string_view text) {
  StatedSpeed stated;
  for (std::size_t comma = 0; comma != std::string_view::npos;) {
    comma = text.find(',');
    if (const auto error = add_point(stated, trimmed(text.substr(0, comma)))) return *error;
    if (comma != std::string_view::npos) text.remove_prefix(comma + 1);
  }
  return stated;
}

Result<StatedSpeed> sweep(std::string_view start, std::string_view end) {
  const auto first = usable_speed(start), last = usable_speed(end);
  if (!first) return first.error();
  if (!last) return last.error();
  StatedSpeed stated;
  stated.points = {{Seconds(0), first->value}, {end_of_run, last->value}};
  stated.unit = first->unit;
  return stated;
}

Result<ShaftRate> usable_rate(std::string_view of_what, std::string_view text) {
  auto rate = parse_shaft_rate(text);
  if (rate && !(*rate > ShaftRate(0) && *rate <= fastest_shaft))
    return Error{
        fmt::format("the {} speed \"{}\" can't be right; expected more than 0 and at most {:.0f} rpm",
                    of_what, text, fastest_shaft.value() * 60.0)};
  return rate;
}

}  // namespace

Result<StatedSpeed> parse_stated_speed(std::string_view text) {
  if (const auto to = text.find(" to "); to != std::string_view::npos)
    return sweep(text.substr(0, to), text.substr(to + 4));
  if (text.find_first_of(",:") != std::string_view::npos) return points(text);
  const auto speed = usable_speed(text);
  if (!speed) return speed.error();
  StatedSpeed stated;
  stated.points = {{Seconds(0), speed->value}};
  stated.unit = speed->unit;
  return stated;
}

Result<StatedSpeed> stated_shaft_rate(std::string_view text) {
  const auto rate = usable_rate("shaft", text);
  if (!rate) return rate.error();
  StatedSpeed stated;
  stated.source = SpeedSource::exact_shaft;
  stated.shaft_rate = *rate;
  return stated;
}

Result<StatedSpeed> stated_engine_speed(std::string_view text) {
  const auto rate = usable_rate("engine", text);
  if (!rate) return rate.error();
  StatedSpeed stated;
  stated.source = SpeedSource::engine;
  stated.engine_rate = *rate;
  return stated;
}

Result<StatedSpeed> parse_speed_between(std::string_view text) {
  const auto between = text.find(" and ");
  if (between == std::string_view::npos)
    return Error{fmt::format("\"{}\" is not two speeds; write for example \"30 mph and 60 mph\"", text)};
  const auto low = usable_speed(text.substr(0, between)), high = usable_speed(text.substr(between + 5));
  if (!low) return low.error();
  if (!high) return high.error();
  if (low->value >= high->value)
    return Error{fmt::format("in \"{}\" the first speed is not the lower one; swap or correct them", text)};
  StatedSpeed stated;
  stated.source = SpeedSource::range;
  stated.points = {{Seconds(0), low->value}, {Seconds(0), high->value}};
  stated.unit = low->unit;
  return stated;
}

}  // namespace gearhark
