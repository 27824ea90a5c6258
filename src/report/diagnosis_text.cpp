#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "gearhark/report/diagnosis.hpp"
#include "gearhark/report/speed.hpp"
#include "gearhark/units/text.hpp"
#include "lines.hpp"
#include "mind.hpp"
#include "wrap.hpp"

namespace gearhark {
namespace {

using report::upper;
using report::wrapped;

constexpr std::size_t most_rows = 8;
constexpr std::array<std::size_t, 3> most_lines{6, 3, 3};  // of the first suspects, which are explained
constexpr std::size_t explained = most_lines.size();
constexpr double worth_a_row = 0.01;
constexpr double full_bar = 40.0;  // characters for a probability of 1

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

std::string bar_row(const std::string& label, Probability p) {
  const auto length = static_cast<std::size_t>(std::lround(full_bar * p.value()));
  const std::string share =
      p.value() > 0.0 && p.value() < 0.005 ? "<1" : fmt::format("{:.0f}", 100.0 * p.value());
  std::string row = fmt::format("  {:<44.44} {:>3} %  {}", label, share, std::string(length, '#'));
  return row.substr(0, row.find_last_not_of(' ') + 1) + "\n";
}

std::string ranking(const Diagnosis& d) {
  std::string out = "How likely\n";
  std::size_t rows = 0;
  for (const Suspect& s : d.suspects) {
    if (rows == most_rows || (rows >= explained && s.probability.value() < worth_a_row)) break;
    out += bar_row(fmt::format("{}, {}", name_of(s), to_text(s.fault)), s.probability);
    ++rows;
  }
  if (rows < d.suspects.size())
    out += fmt::format("  ({} more parts, each less likely)\n", d.suspects.size() - rows);
  out += bar_row("a regular noise of nothing in the car file", d.unexplained);
  return out + bar_row("no fault", d.no_fault) + "\n";
}

std::string why(const Diagnosis& d, const Suspect& s, std::size_t most) {
  std::string out =
      wrapped("  ", fmt::format("{}: {}", name_of(s), s.in_words)) + report::found_lines(s.evidence, most);
  if (!s.cannot_be_told_from.empty())
    out += wrapped("    ", "can't be told from: " + listed(d, s.cannot_be_told_from));
  return out;
}

std::string reasons(const Diagnosis& d) {
  if (d.suspects.empty() || d.verdict == Verdict::no_fault_heard) return "";
  std::string out = "Why\n";
  for (std::size_t i = 0; i < std::min(explained, d.suspects.size()); ++i)
    if (i == 0 || d.suspects[i].probability.value() >= worth_a_row)
      out += why(d, d.suspects[i], most_lines[i]);
  return out + "\n";
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

std::string recordings(const Diagnosis& d) {
  std::string out = "Recordings\n";
  for (std::size_t i = 0; i < d.runs.size(); ++i) {
    const RunReport& r = d.runs[i];
    out += wrapped(fmt::format("  {:<3}", i + 1),
                   fmt::format("{}: gear {}, {}, {}, {}; {:.0f} s usable; {}", r.run.file, r.run.gear.label,
                               to_text(r.run.load), to_text(r.run.turn), stated(r.run.speed),
                               r.quality.usable.value(), found_speed(r)));
    for (const auto& problem : r.problems) out += wrapped("     - ", problem);
  }
  return out + "\n";
}

SpeedUnit unit_of(const Diagnosis& d) {
  return d.runs.empty() ? SpeedUnit::kmh : d.runs.front().run.speed.unit;
}

std::string next(const Diagnosis& d) {
  if (!d.next_run) return "";
  return "What to record next\n" + report::next_run(*d.next_run, unit_of(d)) + "\n";
}

}  // namespace

std::string diagnosis_text(const Diagnosis& d) {
  return fmt::format("{}: {}\n\n", d.car_name, upper(to_text(d.verdict))) + wrapped("", d.reason) + "\n" +
         ranking(d) + reasons(d) + recordings(d) + next(d) + report::mind(d.cautions);
}

}  // namespace gearhark
