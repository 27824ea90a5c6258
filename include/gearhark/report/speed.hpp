// What the sound says of the stated speed, in words.
#pragma once

#include <string>

#include "gearhark/speed/tracking.hpp"

namespace gearhark {

// "the needle reads 4.2 +- 0.3 % high", "the satellite reads ..."; "" where no speed was stated or none was
// found. Reading over true speed less one, for the nominal tyre.
std::string correction_text(const StatedSpeed& stated, const Tracking& tracking);

}  // namespace gearhark
