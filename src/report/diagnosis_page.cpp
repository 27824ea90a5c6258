#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <utility>

#include "exhibit_blocks.hpp"
#include "gearhark/report/diagnosis.hpp"
#include "gearhark/report/page.hpp"
#include "html.hpp"
#include "page_blocks.hpp"
#include "page_frame.hpp"
#include "words.hpp"

namespace gearhark {
namespace {

using namespace report;

// The likeliest first, be it a part, nothing, or something else.
std::string ranking(const Diagnosis& d) {
  if (d.suspects.empty()) return "<h2>How likely</h2>\n<p>Nothing could be looked at, so nobody knows.</p>\n";
  std::vector<std::pair<Probability, std::string>> bars;
  const auto add = [&](const char* kind, const std::string& label, Probability p) {
    bars.emplace_back(p, ranked(kind, label, p));
  };
  const std::size_t rows = rows_of(d);
  for (std::size_t i = 0; i < rows; ++i) {
    const Suspect& s = d.suspects[i];
    add("suspect", fmt::format("{}, {}", escaped(name_of(s)), to_text(s.fault)), s.probability);
  }
  add("none unexplained", "a regular noise of nothing in the car file", d.unexplained);
  add("none no-fault", "no fault", d.no_fault);
  std::stable_sort(bars.begin(), bars.end(), [](const auto& a, const auto& b) { return a.first > b.first; });
  std::string out = "<h2>How likely</h2>\n<ol class=\"rank\">\n";
  for (const auto& [p, bar] : bars) out += bar;
  out += "</ol>\n";
  if (rows < d.suspects.size())
    out += fmt::format(
        "<p class=\"fine\">And {} more parts, each less likely: <a href=\"#all\">all suspects</a>.</p>\n",
        d.suspects.size() - rows);
  if (d.earlier_findings > 0)
    out += fmt::format("<p class=\"fine\">{} earlier teardown findings weigh in.</p>\n", d.earlier_findings);
  return out;
}

std::string next(const Diagnosis& d) {
  std::string out = "<h2>What to do next</h2>\n" + record_next(d.next_run, unit_of(d.runs));
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

Sign sign_of(Verdict verdict) {
  return verdict == Verdict::fault_heard      ? Sign::full
         : verdict == Verdict::no_fault_heard ? Sign::ring
                                              : Sign::half;
}

std::string first_screen(const Diagnosis& d) {
  return verdict_line(sign_of(d.verdict), to_text(d.verdict)) +
         fmt::format("<p class=\"reason\">{}</p>\n", escaped(d.reason)) +
         columns(ranking(d), next(d) + mind(d.cautions));
}

std::string evidence(const Diagnosis& d, const Suspect& s, const std::string& id, const SuspectExhibit* e,
                     const Clip* clip) {
  std::string out = fmt::format("<p>{}. Probability {} %.</p>\n", escaped(capital(s.in_words)),
                                escaped(whole_percent(s.probability)));
  if (!s.cannot_be_told_from.empty())
    out += "<p>Can't be told from: " + escaped(listed(d, s.cannot_be_told_from)) + ".</p>\n";
  const auto found = std::count_if(s.evidence.begin(), s.evidence.end(),
                                   [](const EvidenceItem& item) { return item.found; });
  if (!s.evidence.empty() && found == 0) out += "<p>None of its lines stands out by itself.</p>\n";
  if (e) out += levels(d.runs, *e);
  if (clip) out += player(*clip);
  if (e) out += pictures(id, d.runs, *e);
  if (!s.evidence.empty())
    out += fmt::format(
        "<details class=\"long\" open=\"open\"><summary>Every line looked for: {} of {} stand "
        "out</summary>\n{}</details>\n",
        found, s.evidence.size(), lines_table(s.evidence));
  return out;
}

const Clip* clip_of(const std::vector<Clip>& clips, const Suspect& s) {
  const auto at = std::find_if(clips.begin(), clips.end(),
                               [&](const Clip& c) { return c.part == s.part && c.fault == s.fault; });
  return at == clips.end() ? nullptr : &*at;
}

const SuspectExhibit* exhibit_of(const Exhibits& x, const Suspect& s) {
  const auto at = std::find_if(x.suspects.begin(), x.suspects.end(), [&](const SuspectExhibit& e) {
    return e.part == s.part && e.fault == s.fault;
  });
  return at == x.suspects.end() ? nullptr : &*at;
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
    t.rows.push_back({escaped(name_of(s)), to_text(s.fault), escaped(whole_percent(s.probability)),
                      decimal(s.log_evidence, 1), escaped(listed(d, s.cannot_be_told_from))});
    t.row_attributes.push_back(
        fmt::format("data-part=\"{}\" data-probability=\"{}\"", escaped(s.part), s.probability.value()));
  }
  return to_html(t);
}

}  // namespace

std::string diagnosis_page(const Diagnosis& d, const Exhibits& x, const std::vector<Clip>& clips) {
  Page page;
  page.title = fmt::format("{}: {}", d.car_name, to_text(d.verdict));
  page.kind = "Noise diagnosis by gearhark";
  page.car = d.car_name;
  page.first = first_screen(d);
  nlohmann::ordered_json charts = nlohmann::ordered_json::object();
  const bool silent = d.verdict == Verdict::no_fault_heard;
  for (std::size_t i = 0; i < std::min(explained, d.suspects.size()); ++i) {
    const Suspect& s = d.suspects[i];
    if (i > 0 && (silent || s.probability.value() < worth_a_row)) break;
    const std::string id = fmt::format("suspect-{}", i + 1);
    const SuspectExhibit* e = exhibit_of(x, s);
    if (e) add_drawn(charts, id, *e);
    page.chapters.push_back(
        {id,
         fmt::format("{}: {}, {}", silent ? "Nearest to a fault" : "Evidence", name_of(s), to_text(s.fault)),
         evidence(d, s, id, e, clip_of(clips, s))});
  }
  if (!x.speeds.empty()) page.chapters.push_back({"speed", "Speed found and told", speeds(d.runs, x)});
  page.chapters.push_back({"recordings", "The recordings", recordings(d.runs) + not_used(d.left_out)});
  if (!d.suspects.empty()) page.chapters.push_back({"all", "All suspects", all_suspects(d)});
  if (!x.tables.empty()) page.chapters.push_back({"lines", "The car's lines", car_lines(d.runs, x)});
  page.json = diagnosis_json(d);
  put_in(page, charts);
  return to_html(page);
}

}  // namespace gearhark
