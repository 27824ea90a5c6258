#include "gearhark/repair/inspect.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

namespace gearhark {
namespace {

constexpr double coarse = 0.25;  // of the allowance from new to limit: a coarser step judges poorly

// One unit of the last digit written, in the reading's own unit ("0.0080in": a ten-thousandth).
double last_digit(std::string_view text) {
  const auto point = text.find('.');
  if (point == std::string_view::npos) return 1.0;
  int decimals = 0;
  for (std::size_t i = point + 1; i < text.size() && std::isdigit(static_cast<unsigned char>(text[i])); ++i)
    ++decimals;
  return std::pow(10.0, -decimals);
}

Error unknown_dimension(const Car& car, const std::string& id) {
  if (car.dimensions.empty())
    return {fmt::format("the car file has no [[clearance]], so \"{}\" can't be judged; add one with new and "
                        "limit values from the workshop manual",
                        id),
            ErrorKind::usage};
  std::string known;
  for (const Dimension& d : car.dimensions) known += (known.empty() ? "" : ", ") + d.id;
  return {fmt::format("the car file has no clearance \"{}\"; it has {}", id, known), ErrorKind::usage};
}

// Share of the way from new to the limit; works whichever of them is the larger.
double share_of_way(const Dimension& d, Length at) {
  return (at - d.nominal_new->value) / (d.limit->value - d.nominal_new->value);
}

void measure(InspectedDimension& out, std::optional<Length> instrument) {
  const auto by_value = [](const Reading& a, const Reading& b) { return a.value.value < b.value.value; };
  const auto [low, high] = std::minmax_element(out.readings.begin(), out.readings.end(), by_value);
  double sum = 0.0;
  for (const Reading& r : out.readings) {
    sum += r.value.value.value();
    out.resolution = std::max(out.resolution, r.resolution);
  }
  if (instrument) out.resolution = std::max(out.resolution, *instrument);
  out.mean = Length(sum / static_cast<double>(out.readings.size()));
  out.spread = high->value.value - low->value.value;
  out.worst = out.shrinks ? low->value.value : high->value.value;
  out.uncertainty = 0.5 * std::max(out.resolution, out.spread);
}

void share_the_wear(InspectedDimension& out) {
  const Dimension& d = out.dimension;
  if (!d.nominal_new || !d.limit || d.nominal_new->value == d.limit->value) return;
  const double used = share_of_way(d, out.worst);
  const double off = std::abs(out.uncertainty / (d.limit->value - d.nominal_new->value));
  out.wear_used = used;
  out.wear_used_low = used - off;
  out.wear_used_high = used + off;
}

WearVerdict verdict_of(const InspectedDimension& out) {
  const Dimension& d = out.dimension;
  if (!d.limit) return WearVerdict::no_limit;
  // Rounding of binary fractions must not decide: a thousandth of the resolution is nothing.
  const double slack = 1e-3 * out.resolution.value();
  const double beyond = (out.shrinks ? -1.0 : 1.0) * (out.worst - d.limit->value).value();
  if (beyond > out.uncertainty.value() + slack) return WearVerdict::beyond_limit;
  if (beyond > -out.uncertainty.value() + slack) return WearVerdict::too_near_to_tell;
  if (out.wear_used_high && *out.wear_used_high < 0.0) return WearVerdict::outside_new;
  return WearVerdict::within_limit;
}

std::vector<std::string> remarks_on(const InspectedDimension& out) {
  std::vector<std::string> remarks;
  const Dimension& d = out.dimension;
  if (!d.nominal_new || !d.limit)
    remarks.push_back(fmt::format("The car file gives no {} value, so the share of wear used can't be given.",
                                  d.nominal_new ? "limit" : "new"));
  else if (out.resolution.value() > coarse * std::abs((d.limit->value - d.nominal_new->value).value()))
    remarks.emplace_back(
        "The step of the readings is coarse for this allowance; a finer instrument would say "
        "more.");
  if (out.readings.size() == 1)
    remarks.emplace_back("One reading only: measure at several places round the part; the worst counts.");
  else if (out.spread > 2.0 * out.resolution)
    remarks.emplace_back(
        "The readings differ by more than the instrument explains: the part may be worn or "
        "seated unevenly, or was not read alike.");
  if (out.verdict == WearVerdict::outside_new)
    remarks.emplace_back(
        "The reading lies on the unworn side of new: check the adjustment, the instrument's "
        "zero and the unit.");
  return remarks;
}

InspectedDimension inspected(const Dimension& dimension, const Measured& measured,
                             std::optional<Length> instrument) {
  InspectedDimension out;
  out.dimension = dimension;
  out.readings = measured.readings;
  out.shrinks =
      dimension.nominal_new && dimension.limit && dimension.limit->value < dimension.nominal_new->value;
  measure(out, instrument);
  share_the_wear(out);
  out.verdict = verdict_of(out);
  out.remarks = remarks_on(out);
  return out;
}

}  // namespace

Result<Reading> parse_reading(std::string_view text) {
  const auto length = parse_length(text);
  if (!length) return length.error();
  // to_text is not needed for the unit's size: one of the unit is what "1" of it parses to.
  const auto end_of_number = text.find_first_not_of(" +-.0123456789");
  const auto one = parse_length(fmt::format("1{}", text.substr(end_of_number)));
  if (!one) return one.error();
  return Reading{*length, last_digit(text) * one->value};
}

Result<Measured> parse_measured(std::string_view text) {
  const auto equals = text.find('=');
  if (equals == std::string_view::npos || equals == 0)
    return Error{
        fmt::format("\"{}\" is not a reading; write the clearance's ID, = and what was read, such as "
                    "ring_and_pinion_backlash=0.008in",
                    text),
        ErrorKind::usage};
  Measured out{std::string(text.substr(0, equals)), {}};
  for (const std::string_view one : split(text.substr(equals + 1), ',')) {
    auto reading = parse_reading(one);
    if (!reading)
      return Error{fmt::format("{}: {}", out.dimension, reading.error().sentence), ErrorKind::usage};
    out.readings.push_back(*reading);
  }
  return out;
}

std::string to_text(WearVerdict verdict) {
  switch (verdict) {
    case WearVerdict::within_limit:
      return "within the limit";
    case WearVerdict::too_near_to_tell:
      return "too near the limit to tell";
    case WearVerdict::beyond_limit:
      return "beyond the limit";
    case WearVerdict::outside_new:
      return "on the unworn side of new";
    case WearVerdict::no_limit:
      break;
  }
  return "no limit known";
}

Result<Inspection> inspect(const Car& car, const std::vector<Measured>& measured,
                           std::optional<Length> instrument) {
  Inspection out;
  out.car_name = car.name;
  for (const Measured& m : measured) {
    const auto d = std::find_if(car.dimensions.begin(), car.dimensions.end(),
                                [&](const Dimension& known) { return known.id == m.dimension; });
    if (d == car.dimensions.end()) return unknown_dimension(car, m.dimension);
    for (const InspectedDimension& before : out.dimensions)
      if (before.dimension.id == m.dimension)
        return Error{
            fmt::format("\"{}\" is given twice; put its readings together, separated by commas", m.dimension),
            ErrorKind::usage};
    for (const Reading& r : m.readings)
      if (r.value.value.value() < 0.0)
        return Error{fmt::format("{}: a reading below zero ({}) can't be judged; give the size itself",
                                 m.dimension, to_text(r.value.value, r.value.unit, 4)),
                     ErrorKind::usage};
    out.dimensions.push_back(inspected(*d, m, instrument));
  }
  out.cautions = {
      "A clearance is one fact about a part. Look for pitting, blueing, cracks and loose fits too; new and "
      "limit values come from the car file and are only as good as the book they were taken from.",
      "Nothing here says that a part may go on being used: local law and the judgement of a qualified "
      "workshop come first."};
  return out;
}

}  // namespace gearhark
