// A run that is proposed, for machines.
#pragma once

#include <nlohmann/json.hpp>

#include "gearhark/diagnosis/diagnosis.hpp"

namespace gearhark::report {

inline nlohmann::ordered_json run_json(const NextRun& run) {
  return {{"gear", run.gear.label},
          {"load", to_text(run.load)},
          {"clutch", run.clutch == Clutch::engaged ? "engaged" : "pedal down"},
          {"turn", to_text(run.turn)},
          {"speed_mps", run.speed.value()},
          {"duration_s", run.duration.value()},
          {"expected_entropy_drop", run.expected_entropy_drop},
          {"because", run.because}};
}

}  // namespace gearhark::report
