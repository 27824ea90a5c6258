// The shaft angles found in a run, as the synthesiser takes them.
#pragma once

#include "gearhark/speed/tracking.hpp"
#include "gearhark/synthesis/synthesis.hpp"

namespace gearhark {

// On the synthesiser's grid. bend: half difference of the two driven wheels over their mean.
Motion motion_found(const Tracking& tracking, double bend);

}  // namespace gearhark
