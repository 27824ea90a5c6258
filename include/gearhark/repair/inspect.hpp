// Readings taken on the bench against the new and limit values in the car file.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gearhark/car/car.hpp"
#include "gearhark/units/result.hpp"
#include "gearhark/units/text.hpp"

namespace gearhark {

// A reading as it was written, with the smallest step that writing it so can tell: 0.008in has 0.001 in.
struct Reading {
  WrittenLength value;
  Length resolution;
};
// Errors: no number, no unit.
Result<Reading> parse_reading(std::string_view text);

struct Measured {
  std::string dimension;  // ID of the car file's [[clearance]]
  std::vector<Reading> readings;
};
// "ring_and_pinion_backlash=0.008in" or, of several places round the gear, "...=0.008in,0.0085in".
Result<Measured> parse_measured(std::string_view text);

enum class WearVerdict {
  within_limit,      // all readings, by more than they are uncertain
  too_near_to_tell,  // the limit lies within what the readings are uncertain by
  beyond_limit,
  outside_new,  // on the unworn side of new by more than the readings are uncertain: adjusted or misread
  no_limit      // the car file gives no limit
};
// Never a word of safety: "within the limit", "too near the limit to tell", ...
std::string to_text(WearVerdict verdict);

struct InspectedDimension {
  Dimension dimension;
  std::vector<Reading> readings;  // as written, in the order given
  bool shrinks = false;           // wear makes it smaller (a thickness): the limit lies below new
  Length mean, spread;            // spread: largest less smallest
  Length worst;                   // the most worn reading
  Length resolution;              // of the coarsest reading, or of the instrument where it was given
  // Half the resolution, and half the spread where that is more: what a reading may be off by. The places
  // may truly differ too, which is why the worst counts and not the mean.
  Length uncertainty;
  // Share of the way from new (0) to the limit (1) that the worst reading has gone. Nothing: new or limit is
  // missing.
  std::optional<double> wear_used, wear_used_low, wear_used_high;
  WearVerdict verdict = WearVerdict::no_limit;
  std::vector<std::string> remarks;  // one sentence each
};

struct Inspection {
  std::string car_name;
  std::vector<InspectedDimension> dimensions;
  std::vector<std::string> cautions;
};

// instrument: its smallest step where it is coarser than the readings are written. Errors (usage): a
// dimension that the car file lacks (the sentence lists those it has), one given twice, a negative reading.
Result<Inspection> inspect(const Car& car, const std::vector<Measured>& measured,
                           std::optional<Length> instrument);

}  // namespace gearhark
