#include "page_blocks.hpp"

#include <fmt/format.h>

#include "html.hpp"
#include "picture.hpp"
#include "words.hpp"

namespace gearhark::report {
namespace {

std::string fact(const char* name, const std::string& words) {
  return fmt::format("<div><dt>{}</dt><dd>{}</dd></div>\n", name, escaped(words));
}

std::string recording(const RunReport& r, std::size_t number) {
  const RecordingQuality& q = r.quality;
  std::string out = fmt::format("<h3>Run {}: {}</h3>\n<dl class=\"facts\">\n", number,
                                escaped(r.run.file + part_of(r.run)));
  out += fact("as told", as_told(r.run) + ", " + stated(r.run.speed));
  out += fact("in the sound", plus_minus(found_speed(r)));
  out += fact("usable", fmt::format("{:.1f} s", q.usable.value()));
  out += fact("sound up to", fmt::format("{:.1f} kHz", q.bandwidth.value() / 1000.0));
  out += fact("at full scale", fmt::format("{:.2f} % of the samples", 100.0 * q.clipped_share));
  out += fact("level swings", fmt::format("{:.1f} dB", q.level_pumping_db));
  out += fact("wind gusts", fmt::format("{:.1f} dB", q.wind_db));
  out += fact("bumps", fmt::format("{:.1f} a minute", q.bumps_per_minute));
  out += fact("gaps", fmt::format("{}", q.dropouts));
  out += "</dl>\n";
  if (!r.problems.empty()) out += "<p><strong>Mind:</strong></p>\n" + list(r.problems);
  return out;
}

}  // namespace

std::string capital(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
  return text;
}

std::string verdict_line(Sign sign, const std::string& verdict) {
  const char* shape =
      sign == Sign::full ? "<rect x=\"5\" y=\"5\" width=\"90\" height=\"90\" fill=\"currentColor\"/>"
      : sign == Sign::ring
          ? "<circle cx=\"50\" cy=\"50\" r=\"40\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"14\"/>"
          : "<circle cx=\"50\" cy=\"50\" r=\"40\" fill=\"none\" stroke=\"currentColor\" "
            "stroke-width=\"14\"/><path d=\"M50 10 A40 40 0 0 1 50 90 Z\" fill=\"currentColor\"/>";
  return fmt::format(
      "<p class=\"verdict\"><svg viewBox=\"0 0 100 100\" aria-hidden=\"true\">{}</svg>{}</p>\n", shape,
      escaped(capital(verdict)));
}

std::string columns(const std::string& left, const std::string& right) {
  return fmt::format("<div class=\"columns\"><div>\n{}</div><div>\n{}</div></div>\n", left, right);
}

std::string mind(const std::vector<std::string>& cautions, const std::string& heading) {
  return cautions.empty() ? "" : fmt::format("<h2>{}</h2>\n{}", heading, list(cautions));
}

std::string record_next(const std::optional<NextRun>& run, SpeedUnit unit) {
  if (!run) return "";
  return fmt::format("<p><strong>Record:</strong> {}</p>\n", escaped(next_run_sentence(*run, unit)));
}

std::string ranked(const std::string& kind, const std::string& label, Probability p) {
  return fmt::format(
      "<li class=\"{}\" data-probability=\"{}\"><span class=\"name\">{}</span> <span class=\"share\">{} "
      "%</span>{}</li>\n",
      kind, p.value(), label, escaped(whole_percent(p)), bar_svg(p.value(), 1.0));
}

std::string lines_table(const std::vector<EvidenceItem>& lines) {
  Table t;
  t.caption =
      "Lines looked for. dB: over the noise there. By chance: how often noise alone "
      "does as much at a place chosen beforehand.";
  t.head = {"line", "run", "Hz", "per turn", "of", "dB", "by chance", "stands out"};
  t.numbers = {false, true, true, true, false, true, false};
  for (const EvidenceItem& item : lines) {
    t.rows.push_back({escaped(item.kind), fmt::format("{}", item.recording + 1),
                      fmt::format("{:.1f}", item.frequency.value()),
                      fmt::format("{:.3f}", item.order.value()), item.engine_bound ? "engine" : "wheel",
                      decimal(item.above_background.value(), 1), escaped(by_chance(item.chance)),
                      item.found ? "yes" : "no"});
    t.row_attributes.push_back(item.found ? "class=\"out\"" : "class=\"looked\"");
  }
  t.kind = "evidence";
  return to_html(t);
}

std::string not_used(const std::vector<std::string>& sentences) {
  return sentences.empty() ? "" : "<h3>Not used</h3>\n" + list(sentences);
}

std::string recordings(const std::vector<RunReport>& runs) {
  std::string out;
  for (std::size_t i = 0; i < runs.size(); ++i) out += recording(runs[i], i + 1);
  return out;
}

}  // namespace gearhark::report
