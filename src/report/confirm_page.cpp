#include <fmt/format.h>

#include <algorithm>

#include "exhibit_blocks.hpp"
#include "gearhark/report/confirm.hpp"
#include "gearhark/report/page.hpp"
#include "html.hpp"
#include "page_blocks.hpp"
#include "page_frame.hpp"
#include "picture.hpp"
#include "words.hpp"

namespace gearhark {
namespace {

using namespace report;

Sign sign_of(ConfirmVerdict verdict) {
  return verdict == ConfirmVerdict::heard       ? Sign::full
         : verdict == ConfirmVerdict::not_heard ? Sign::ring
                                                : Sign::half;
}

std::string next(const Confirmation& c) {
  const std::string record = record_next(c.next_run, unit_of(c.runs));
  return record.empty() ? "" : "<h2>What to do next</h2>\n" + record;
}

// Evidence of each run as a bar; all bars end where it would be enough, or at the most there is.
std::string by_run(const Confirmation& c) {
  double most = 0.0;
  for (const ConfirmRun& r : c.by_run) most = std::max({most, r.heard, r.enough});
  Table t;
  t.caption =
      "Evidence of each run alone (natural logarithm of how much likelier the sound is with the fault), and "
      "what would be enough by itself.";
  t.head = {"run", "as told", "strength", "evidence", "enough", "lines found", "so"};
  t.numbers = {false, false, false, true, true, true, false};
  t.kind = "levels";
  for (const ConfirmRun& r : c.by_run) {
    const RunReport& report = c.runs[static_cast<std::size_t>(r.recording)];
    const auto found =
        std::count_if(r.lines.begin(), r.lines.end(), [](const EvidenceItem& l) { return l.found; });
    t.rows.push_back({fmt::format("{}", r.recording + 1),
                      escaped(fmt::format("gear {}, {}, {}", report.tracking.gear.label,
                                          to_text(report.run.load), to_text(report.run.turn))),
                      bar_svg(r.heard, most), decimal(r.heard, 1), decimal(r.enough, 1),
                      r.lines.empty() ? "-" : fmt::format("{} of {}", found, r.lines.size()),
                      for_or_against(r)});
  }
  return c.by_run.empty() ? "<p>In none of the runs could its lines be placed.</p>\n" : to_html(t);
}

std::string sensitivities(const Confirmation& c) {
  std::string out;
  for (const ConfirmRun& r : c.by_run)
    if (const std::string words = sensitivity(r); !words.empty())
      out += fmt::format("<li>Run {}: {}</li>\n", r.recording + 1, escaped(words));
  if (out.empty()) return "";
  return "<h3>How loud it would have to be</h3>\n<ul>\n" + out +
         "</ul>\n<p class=\"fine\">dB: of the fault over everything else in the recording, in the "
         "third-octave band where it stands out most.</p>\n";
}

std::string line_tables(const Confirmation& c) {
  std::string out;
  for (const ConfirmRun& r : c.by_run)
    if (!r.lines.empty()) out += fmt::format("<h3>Run {}</h3>\n{}", r.recording + 1, lines_table(r.lines));
  return out;
}

}  // namespace

std::string confirmation_page(const Confirmation& c, const Exhibits& x, const std::vector<Clip>& clips) {
  const std::string name = c.name.empty() ? c.part : c.name;
  Page page;
  page.title = fmt::format("{}: {}, {}: {}", c.car_name, name, to_text(c.fault), to_text(c.verdict));
  page.kind = fmt::format("One suspect by gearhark: {}, {}", name, to_text(c.fault));
  page.car = c.car_name;
  page.first =
      verdict_line(sign_of(c.verdict), to_text(c.verdict)) +
      fmt::format("<p class=\"reason\">{}</p>\n<p>Among all suspects, and none, it has {} %.</p>\n",
                  escaped(c.reason), escaped(whole_percent(c.probability))) +
      columns("<h2>For and against</h2>\n" + by_run(c) + sensitivities(c), next(c) + mind(c.cautions));
  if (const std::string tables = line_tables(c); !tables.empty())
    page.chapters.push_back({"looked-for", "Every line looked for", tables});
  nlohmann::ordered_json charts = nlohmann::ordered_json::object();
  if (!x.suspects.empty()) {
    const SuspectExhibit& e = x.suspects.front();
    page.chapters.push_back({"pictures", "What its lines look like",
                             "<p>All runs taken together, so at one and the same slip; the tables above take "
                             "each run by itself.</p>\n" +
                                 levels(c.runs, e) + (clips.empty() ? "" : player(clips.front())) +
                                 pictures("suspect", c.runs, e)});
    add_drawn(charts, "suspect", e);
  }
  if (!x.speeds.empty()) page.chapters.push_back({"speed", "Speed found and told", speeds(c.runs, x)});
  page.chapters.push_back({"recordings", "The recordings", recordings(c.runs)});
  page.json = confirmation_json(c);
  put_in(page, charts);
  return to_html(page);
}

}  // namespace gearhark
