// What changes when another car's gearbox and final drive go into this car.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gearhark/car/car.hpp"
#include "gearhark/units/result.hpp"
#include "gearhark/units/text.hpp"

namespace gearhark {

// What turns the speedometer's cable: a gear on the unit's output shaft (ahead of the final drive), with the
// car's own speedometer gears kept; or a road wheel, as in many rear-engined cars.
enum class SpeedometerDrive { unit, wheel };

struct SwapQuestion {
  std::vector<WrittenSpeed> speeds;  // true road speeds; at least one
  SpeedometerDrive drive = SpeedometerDrive::unit;
  double reads_high = 0.0;     // what the speedometer shows too much before the swap, relative
  bool donor_tyres = false;    // the donor's tyres come with it
  std::optional<Gear> listen;  // the gear to predict lines in; nothing: the highest that both cars have
};

struct SwapGear {
  Gear gear;
  std::optional<double> before, after;  // engine turns per driven-wheel turn; nothing: no such gear
  std::vector<ShaftRate> engine_before, engine_after;  // per speed asked; empty: no such gear
};

struct SwapReading {
  Speed road, before, after;  // what the needle shows at this true speed
};

// One thing that both car files may record, side by side.
struct SwapFact {
  std::string what, car, donor;  // "not recorded" where a file is silent
  bool differs = false;
};

struct SwapLine {
  std::string part, name, happening;
  std::optional<Order> before, after;              // per driven-wheel turn; nothing: not there
  std::optional<Hertz> hertz_before, hertz_after;  // at the first speed asked
};

struct Swap {
  std::string car_name, donor_name;
  SwapQuestion asked;
  std::optional<double> final_before, final_after;  // final drive ratio
  double speedometer_change = 1.0;                  // needle after over before, at one road speed
  std::vector<SwapGear> gears;
  std::vector<SwapReading> readings;  // per speed asked
  std::vector<SwapFact> facts;        // differences first
  Gear listened;
  std::vector<SwapLine> lines;  // that change by more than 0.1 %, appear or go; largest change first
  std::vector<std::string> remarks, cautions;
};

// Errors: no speed, one that can't be, a gear for the lines that one of the cars lacks.
Result<Swap> swap_unit(const Car& car, const Car& donor, const SwapQuestion& question);

}  // namespace gearhark
