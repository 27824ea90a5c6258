#include "gearhark/report/speed.hpp"

#include <fmt/format.h>

#include <cmath>

namespace gearhark {

std::string correction_text(const StatedSpeed& stated, const Tracking& tracking) {
  const char* what = stated.source == SpeedSource::needle      ? "the needle"
                     : stated.source == SpeedSource::satellite ? "the satellite speed"
                     : stated.source == SpeedSource::engine    ? "the rev counter"
                                                               : nullptr;
  if (!what || tracking.certainty == Certainty::lost || !(tracking.scale > 0.0)) return "";
  const double high = 100.0 * (1.0 / tracking.scale - 1.0);
  const double sd = 100.0 * tracking.scale_sd / (tracking.scale * tracking.scale);
  return fmt::format("{}{} reads {:.{}f} +- {:.{}f} % {}",
                     tracking.certainty == Certainty::doubtful ? "doubtful: " : "", what, std::abs(high),
                     sd < 0.1 ? 2 : 1, sd, sd < 0.1 ? 2 : 1, high < 0.0 ? "low" : "high");
}

}  // namespace gearhark
