#include "gearhark/diagnosis/motion.hpp"

namespace gearhark {

Motion motion_found(const Tracking& tracking, double bend) {
  Motion motion;
  const auto steps = static_cast<std::size_t>(tracking.wheel.duration() / motion.step_s);
  for (std::size_t i = 0; i <= steps; ++i) {
    const double t = static_cast<double>(i) * motion.step_s, wheel = tracking.wheel.at(t);
    motion.wheel.push_back(wheel);
    motion.engine.push_back(tracking.engine ? tracking.engine->at(t) : 0.0);
    motion.bend.push_back(bend * wheel);
  }
  return motion;
}

}  // namespace gearhark
