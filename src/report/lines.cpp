#include "lines.hpp"

#include <fmt/format.h>

#include "words.hpp"
#include "wrap.hpp"

namespace gearhark::report {
namespace {

std::string evidence_row(const EvidenceItem& item) {
  return fmt::format("    {:<3} {:<40} {:>7.1f}  {:>8.3f} {:<6} {:>4.1f}  {}\n", item.recording + 1,
                     item.kind, item.frequency.value(), item.order.value(),
                     item.engine_bound ? "engine" : "wheel", item.above_background.value(),
                     by_chance(item.chance));
}
std::string evidence_heading() {
  return fmt::format("    {:<3} {:<40} {:>7}  {:>8} {:<6} {:>4}  {}\n", "run", "line found", "Hz", "per turn",
                     "of", "dB", "by chance");
}

}  // namespace

std::string found_lines(const std::vector<EvidenceItem>& lines, std::size_t most) {
  std::string rows;
  std::size_t found = 0;
  for (const EvidenceItem& item : lines)
    if (item.found && found++ < most) rows += evidence_row(item);
  if (rows.empty()) return lines.empty() ? "" : "    none of its lines stands out by itself\n";
  if (found > most) rows += fmt::format("    and {} more\n", found - most);
  return evidence_heading() + rows;
}

std::string next_run(const NextRun& run, SpeedUnit unit) {
  return wrapped("  ", next_run_sentence(run, unit));
}

nlohmann::ordered_json evidence_json(const EvidenceItem& item) {
  return {{"recording", item.recording},
          {"kind", item.kind},
          {"order", item.order.value()},
          {"order_of", item.engine_bound ? "engine" : "wheel"},
          {"frequency_hz", item.frequency.value()},
          {"above_background_db", item.above_background.value()},
          {"chance", item.chance},
          {"found", item.found}};
}

}  // namespace gearhark::report
