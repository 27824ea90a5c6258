#include "words.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>

#include "gearhark/report/speed.hpp"

namespace gearhark::report {

std::string clock(Seconds time) {
  const auto s = std::lround(time.value());
  return fmt::format("{}:{:02}", s / 60, s % 60);
}

std::size_t rows_of(const Diagnosis& d) {
  std::size_t rows = 0;
  while (rows < std::min(most_rows, d.suspects.size()) &&
         (rows < explained || d.suspects[rows].probability.value() >= worth_a_row))
    ++rows;
  return rows;
}

const std::string& name_of(const Suspect& s) { return s.name.empty() ? s.part : s.name; }

std::string name_of(const Diagnosis& d, const std::string& part) {
  const auto at =
      std::find_if(d.suspects.begin(), d.suspects.end(), [&](const Suspect& s) { return s.part == part; });
  return at == d.suspects.end() ? part : name_of(*at);
}

std::string listed(const Diagnosis& d, const std::vector<std::string>& parts) {
  std::string out;
  for (const auto& part : parts) out += (out.empty() ? "" : ", ") + name_of(d, part);
  return out;
}

std::string part_of(const Run& run) {
  if (!run.from && !run.to) return "";
  return fmt::format(", from {}{}", clock(run.from.value_or(Seconds(0.0))),
                     run.to ? " to " + clock(*run.to) : "");
}

std::string only_part_drawn(const std::optional<Stretch>& excerpt) {
  if (!excerpt) return "";
  return fmt::format(" Of the long run only the part from {} to {} is drawn.", clock(excerpt->from),
                     clock(excerpt->to));
}

// To two figures: how rare pure luck would be.
std::string by_chance(double chance) {
  if (chance < 1e-6) return "< 1 in a million";
  if (chance > 0.05) return fmt::format("{:.0f} in 100", 100.0 * chance);
  const double unit = std::pow(10.0, std::floor(std::log10(1.0 / chance)) - 1.0);
  return fmt::format("1 in {:.0f}", unit * std::round(1.0 / chance / unit));
}

std::string as_told(const Run& run) {
  return fmt::format("gear {}, {}, {}", run.gear.label, to_text(run.load), to_text(run.turn));
}

std::string stated(const StatedSpeed& speed) {
  if (speed.shaft_rate) return fmt::format("wheel shafts at {:.0f} rpm", speed.shaft_rate->value() * 60.0);
  if (speed.engine_rate) return fmt::format("engine at {:.0f} rpm", speed.engine_rate->value() * 60.0);
  if (speed.points.empty()) return "no speed given";
  if (speed.source == SpeedSource::range)
    return fmt::format("between {} and {}", to_text(speed.points.front().speed, speed.unit),
                       to_text(speed.points.back().speed, speed.unit));
  const std::string first = to_text(speed.points.front().speed, speed.unit);
  const std::string from = speed.source == SpeedSource::satellite ? " by satellite" : "";
  if (speed.points.size() == 1) return first + from;
  return fmt::format("{} to {}{}", first, to_text(speed.points.back().speed, speed.unit), from);
}

std::string found_speed(const RunReport& r) {
  if (r.tracking.certainty == Certainty::lost) return "the speed could not be found in the sound";
  if (r.run.speed.shaft_rate) return fmt::format("{:.3f} turns/s as given", r.mean_wheel.value());
  const std::string correction = correction_text(r.run.speed, r.tracking);
  return fmt::format("wheels {:.3f} +- {:.3f} turns/s{}{}", r.mean_wheel.value(), r.mean_wheel_sd.value(),
                     correction.empty() ? "" : ": ", correction);
}

SpeedUnit unit_of(const std::vector<RunReport>& runs) {
  return runs.empty() ? SpeedUnit::kmh : runs.front().run.speed.unit;
}

std::string driving(const NextRun& run, SpeedUnit unit) {
  const std::string speed = to_text(run.speed, unit);
  const std::string how = run.turn == Turn::left    ? ", in a gentle left bend"
                          : run.turn == Turn::right ? ", in a gentle right bend"
                                                    : "";
  if (run.clutch == Clutch::pedal_down)
    return "from " + speed + ", lever in neutral, clutch pedal down, rolling";
  switch (run.load) {
    case Load::drive:
      return "at " + speed + ", pulling (slightly uphill, throttle well open)";
    case Load::floating:
      return "at " + speed + ", just enough throttle to hold it" + how;
    case Load::coast:
      return "from " + speed + ", foot off the throttle, in gear, slowing by itself";
    case Load::neutral:
      break;
  }
  return "from " + speed + ", lever in neutral, clutch pedal up, rolling";
}

std::vector<std::string> outlook(const Plan& plan) {
  std::vector<std::string> out;
  if (plan.entropy > 0.0 && !plan.runs.empty())
    out.push_back(
        fmt::format("By this planner's own reckoning the runs settle about {:.0f} % of the question "
                    "which part it is, were the fault loud enough for a driver to notice.",
                    100.0 * std::min(1.0, plan.expected_drop / plan.entropy)));
  for (const auto& group : plan.alike)
    out.push_back(fmt::format("Hardly to be told apart by these runs: {}.", fmt::join(group, "; ")));
  if (!plan.unheard.empty())
    out.push_back(fmt::format("Hardly to be heard in these runs: {}. Silence says nothing about {}.",
                              fmt::join(plan.unheard, "; "), plan.unheard.size() > 1 ? "them" : "it"));
  return out;
}

std::string for_or_against(const ConfirmRun& r) {
  return r.heard >= r.enough ? "For it" : r.heard > 2.0 ? "A little for it" : "Against it";
}

std::string sensitivity(const ConfirmRun& r) {
  if (r.injected == 0) return "";
  const std::optional<Loudness>& loudness = r.would_be_heard;
  if (!loudness)
    return "Even the loudest fault put into this recording was not found: it can't show this fault.";
  return fmt::format(
      "Put into this recording, such a fault is found 9 times in 10 from {:+.0f} dB up ({} of {} found).",
      loudness->found_9_in_10.value(), loudness->found, loudness->tried);
}

std::string next_run_sentence(const NextRun& run, SpeedUnit unit) {
  return fmt::format("Gear {}, {}{}, {}, {} for {:.0f} s. {}", run.gear.label, to_text(run.load),
                     run.clutch == Clutch::pedal_down ? ", clutch pedal down" : "", to_text(run.turn),
                     to_text(run.speed, unit), run.duration.value(), run.because);
}

}  // namespace gearhark::report
