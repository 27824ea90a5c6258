#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "gearhark/report/diagnosis.hpp"
#include "gearhark/report/page.hpp"
#include "html.hpp"
#include "page_frame.hpp"
#include "words.hpp"

namespace gearhark {
namespace {

using namespace report;

// A full square for what was heard, an empty ring for what was not, a half one for what can't be told: told
// apart without colour.
std::string sign(Verdict verdict) {
  const char* shape =
      verdict == Verdict::fault_heard
          ? "<rect x=\"5\" y=\"5\" width=\"90\" height=\"90\" fill=\"currentColor\"/>"
      : verdict == Verdict::no_fault_heard
          ? "<circle cx=\"50\" cy=\"50\" r=\"40\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"14\"/>"
          : "<circle cx=\"50\" cy=\"50\" r=\"40\" fill=\"none\" stroke=\"currentColor\" "
            "stroke-width=\"14\"/><path d=\"M50 10 A40 40 0 0 1 50 90 Z\" fill=\"currentColor\"/>";
  return fmt::format("<svg viewBox=\"0 0 100 100\" aria-hidden=\"true\">{}</svg>", shape);
}

std::string capital(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
  return text;
}

std::string bar_row(const std::string& kind, const std::string& label, Probability p) {
  return fmt::format(
      "<li class=\"{}\" data-probability=\"{}\"><span class=\"name\">{}</span> <span class=\"share\">{} "
      "%</span>"
      "<svg class=\"bar\" aria-hidden=\"true\"><rect class=\"frame\" width=\"100%\" height=\"100%\"/><rect "
      "class=\"length\" width=\"{:.2f}%\" height=\"100%\"/></svg></li>\n",
      kind, p.value(), label, escaped(percent(p)), 100.0 * p.value());
}

std::string ranking(const Diagnosis& d) {
  std::string out = "<h2>How likely</h2>\n<ol class=\"rank\">\n";
  const std::size_t rows = rows_of(d);
  for (std::size_t i = 0; i < rows; ++i) {
    const Suspect& s = d.suspects[i];
    out += bar_row("suspect", fmt::format("{}, {}", escaped(name_of(s)), to_text(s.fault)), s.probability);
  }
  out += bar_row("none unexplained", "a regular noise of nothing in the car file", d.unexplained);
  out += bar_row("none no-fault", "no fault", d.no_fault) + "</ol>\n";
  if (rows < d.suspects.size())
    out += fmt::format(
        "<p class=\"fine\">And {} more parts, each less likely: <a href=\"#all\">all suspects</a>.</p>\n",
        d.suspects.size() - rows);
  return out;
}

std::string next(const Diagnosis& d) {
  std::string out = "<h2>What to do next</h2>\n";
  if (d.next_run)
    out +=
        "<p><strong>Record:</strong> " + escaped(next_run_sentence(*d.next_run, unit_of(d.runs))) + "</p>\n";
  if (!d.suspects.empty() && d.verdict == Verdict::fault_heard) {
    const Suspect& first = d.suspects.front();
    if (!first.cannot_be_told_from.empty())
      out += fmt::format("<p>Its sound can't be told from: {}. Hands and eyes must.</p>\n",
                         escaped(listed(d, first.cannot_be_told_from)));
    out += fmt::format(
        "<p>Before anything is taken apart: <code>gearhark confirm ROADTEST.toml --suspect {}</code> says "
        "what speaks for and against it in each run.</p>\n",
        escaped(first.part));
  }
  return out;
}

std::string first_screen(const Diagnosis& d) {
  return fmt::format(
      "<p class=\"verdict\">{}{}</p>\n<p class=\"reason\">{}</p>\n<div "
      "class=\"columns\"><div>\n{}</div><div>\n{}{}</div></div>\n",
      sign(d.verdict), escaped(capital(to_text(d.verdict))), escaped(d.reason), ranking(d), next(d),
      d.cautions.empty() ? "" : "<h2>Mind</h2>\n" + list(d.cautions));
}

std::string lines_table(const Suspect& s) {
  Table t;
  t.caption =
      "Lines looked for in each run; those in bold stand out of the noise. By chance: how often noise alone "
      "does as much at a place chosen beforehand.";
  t.head = {"line", "run", "Hz", "per turn", "of", "dB over the noise", "by chance"};
  t.numbers = {false, true, true, true, false, true, false};
  for (const EvidenceItem& item : s.evidence) {
    t.rows.push_back({escaped(item.kind), fmt::format("{}", item.recording + 1),
                      fmt::format("{:.1f}", item.frequency.value()),
                      fmt::format("{:.3f}", item.order.value()), item.engine_bound ? "engine" : "wheel",
                      fmt::format("{:.1f}", item.above_background.value()), escaped(by_chance(item.chance))});
    t.row_attributes.push_back(item.found ? "class=\"out\"" : "class=\"looked\"");
  }
  t.kind = "evidence";
  return to_html(t);
}

std::string evidence(const Diagnosis& d, const Suspect& s) {
  std::string out = fmt::format("<p>{}. Probability {} %.</p>\n", escaped(capital(s.in_words)),
                                escaped(percent(s.probability)));
  if (!s.cannot_be_told_from.empty())
    out += "<p>Can't be told from: " + escaped(listed(d, s.cannot_be_told_from)) + ".</p>\n";
  const auto found =
      std::count_if(s.evidence.begin(), s.evidence.end(), [](const EvidenceItem& e) { return e.found; });
  if (!s.evidence.empty()) {
    if (found == 0) out += "<p>None of its lines stands out by itself.</p>\n";
    out += fmt::format(
        "<details><summary>{} of {} lines looked for stand out: the table</summary>\n{}</details>\n", found,
        s.evidence.size(), lines_table(s));
  }
  return out;
}

std::string recordings(const Diagnosis& d) {
  Table t;
  t.caption = "What each recording is worth.";
  t.head = {"run",       "file",
            "as told",   "speed in the sound",
            "usable s",  "sound up to kHz",
            "clipped %", "level swings dB",
            "wind dB",   "bumps a minute",
            "gaps"};
  t.numbers = {false, false, false, false, true, true, true, true, true, true, true};
  t.kind = "recordings";
  for (std::size_t i = 0; i < d.runs.size(); ++i) {
    const RunReport& r = d.runs[i];
    const RecordingQuality& q = r.quality;
    t.rows.push_back({fmt::format("{}", i + 1), escaped(r.run.file),
                      escaped(fmt::format("gear {}, {}, {}, {}", r.run.gear.label, to_text(r.run.load),
                                          to_text(r.run.turn), stated(r.run.speed))),
                      escaped(found_speed(r)), fmt::format("{:.1f}", q.usable.value()),
                      fmt::format("{:.1f}", q.bandwidth.value() / 1000.0),
                      fmt::format("{:.2f}", 100.0 * q.clipped_share),
                      fmt::format("{:.1f}", q.level_pumping_db), fmt::format("{:.1f}", q.wind_db),
                      fmt::format("{:.1f}", q.bumps_per_minute), fmt::format("{}", q.dropouts)});
  }
  std::string out = to_html(t);
  for (std::size_t i = 0; i < d.runs.size(); ++i)
    if (!d.runs[i].problems.empty())
      out += fmt::format("<h3>Run {}: mind</h3>\n{}", i + 1, list(d.runs[i].problems));
  return out;
}

std::string all_suspects(const Diagnosis& d) {
  Table t;
  t.caption =
      "Evidence: natural logarithm of how much likelier the sound is with the fault than without it, all "
      "runs together.";
  t.head = {"part", "fault", "probability %", "evidence", "can't be told from"};
  t.numbers = {false, false, true, true, false};
  t.kind = "suspects";
  for (const Suspect& s : d.suspects) {
    t.rows.push_back({escaped(name_of(s)), to_text(s.fault), escaped(percent(s.probability)),
                      fmt::format("{:.1f}", s.log_evidence), escaped(listed(d, s.cannot_be_told_from))});
    t.row_attributes.push_back(
        fmt::format("data-part=\"{}\" data-probability=\"{}\"", escaped(s.part), s.probability.value()));
  }
  return to_html(t);
}

}  // namespace

std::string diagnosis_page(const Diagnosis& d, const Exhibits&) {
  Page page;
  page.title = fmt::format("{}: {}", d.car_name, to_text(d.verdict));
  page.kind = "Noise diagnosis by gearhark";
  page.car = d.car_name;
  page.first = first_screen(d);
  const bool silent = d.verdict == Verdict::no_fault_heard;
  for (std::size_t i = 0; i < std::min(explained, d.suspects.size()); ++i) {
    const Suspect& s = d.suspects[i];
    if (i > 0 && (silent || s.probability.value() < worth_a_row)) break;
    page.chapters.push_back(
        {fmt::format("suspect-{}", i + 1),
         fmt::format("{}: {}, {}", silent ? "Nearest to a fault" : "Evidence", name_of(s), to_text(s.fault)),
         evidence(d, s)});
  }
  page.chapters.push_back({"recordings", "The recordings", recordings(d)});
  page.chapters.push_back({"all", "All suspects", all_suspects(d)});
  page.json = diagnosis_json(d);
  return to_html(page);
}

}  // namespace gearhark
