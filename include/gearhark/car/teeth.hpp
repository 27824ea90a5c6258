// Which tooth counts a stated ratio can stand for.
#pragma once

#include <string_view>
#include <vector>

#include "gearhark/units/result.hpp"

namespace gearhark {

struct ToothPair {
  int driving = 0, driven = 0;
  double ratio = 0.0;    // driven / driving
  bool hunting = false;  // no common factor: every tooth meets every other
};

// Pairs whose ratio rounds to the text ("4.11": 4.105 to 4.115), of 5 to 60 driving and 5 to 100 driven
// teeth, commonest first. How common is judged (common practice, no published source): final drives (2.5 and
// up) mostly have a wheel of about 40 teeth, gear pairs about 60 teeth together, and makers avoid common
// factors so that wear spreads. Errors: not a number, not between 0.2 and 12.
Result<std::vector<ToothPair>> tooth_pairs_for_ratio(std::string_view ratio);

}  // namespace gearhark
