#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "gearhark/report/diagnosis.hpp"
#include "lines.hpp"
#include "mind.hpp"
#include "words.hpp"
#include "wrap.hpp"

namespace gearhark {
namespace {

using namespace report;

constexpr std::array<std::size_t, explained> most_lines{6, 3,
                                                        3};  // of the first suspects, which are explained
constexpr double full_bar = 40.0;                            // characters for a probability of 1

std::string bar_row(const std::string& label, Probability p) {
  const auto length = static_cast<std::size_t>(std::lround(full_bar * p.value()));
  std::string row = fmt::format("  {:<44.44} {:>3} %  {}", label, whole_percent(p), std::string(length, '#'));
  return row.substr(0, row.find_last_not_of(' ') + 1) + "\n";
}

std::string ranking(const Diagnosis& d) {
  if (d.suspects.empty()) return "";
  std::string out = "How likely\n";
  const std::size_t rows = rows_of(d);
  for (std::size_t i = 0; i < rows; ++i) {
    const Suspect& s = d.suspects[i];
    out += bar_row(fmt::format("{}, {}", name_of(s), to_text(s.fault)), s.probability);
  }
  if (rows < d.suspects.size())
    out += fmt::format("  ({} more parts, each less likely)\n", d.suspects.size() - rows);
  out += bar_row("a regular noise of nothing in the car file", d.unexplained);
  out += bar_row("no fault", d.no_fault);
  if (d.earlier_findings > 0)
    out += fmt::format("  {} earlier teardown findings weigh in\n", d.earlier_findings);
  return out + "\n";
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

std::string recordings(const Diagnosis& d) {
  std::string out = "Recordings\n";
  for (std::size_t i = 0; i < d.runs.size(); ++i) {
    const RunReport& r = d.runs[i];
    out += wrapped(
        fmt::format("  {:<3}", i + 1),
        fmt::format("{}{}: gear {}, {}, {}, {}; {:.0f} s usable; {}", r.run.file, report::part_of(r.run),
                    r.run.gear.label, to_text(r.run.load), to_text(r.run.turn), stated(r.run.speed),
                    r.quality.usable.value(), found_speed(r)));
    for (const auto& problem : r.problems) out += wrapped("     - ", problem);
  }
  for (const auto& sentence : d.left_out) out += wrapped("  -  ", sentence);
  return out + "\n";
}

std::string next(const Diagnosis& d) {
  if (!d.next_run) return "";
  return "What to record next\n" + report::next_run(*d.next_run, unit_of(d.runs)) + "\n";
}

}  // namespace

std::string diagnosis_text(const Diagnosis& d) {
  return fmt::format("{}: {}\n\n", d.car_name, upper(to_text(d.verdict))) + wrapped("", d.reason) + "\n" +
         ranking(d) + reasons(d) + recordings(d) + next(d) + report::mind(d.cautions);
}

}  // namespace gearhark
