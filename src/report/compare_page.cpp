#include <fmt/format.h>

#include <algorithm>

#include "gearhark/report/compare.hpp"
#include "gearhark/report/page.hpp"
#include "html.hpp"
#include "page_blocks.hpp"
#include "page_frame.hpp"
#include "picture.hpp"
#include "words.hpp"

namespace gearhark {
namespace {

using namespace report;

Sign sign_of(Change verdict) {
  if (verdict == Change::gone) return Sign::ring;
  return verdict == Change::not_comparable ? Sign::half : Sign::full;
}

const std::string& name_of(const PartChange& p) { return p.name.empty() ? p.part : p.name; }

std::string changes(const Comparison& c) {
  double low = 0.0, high = 0.0;
  for (const PartChange& p : c.parts) {
    low = std::min({low, p.low_db, p.change_db});
    high = std::max({high, p.high_db, p.change_db});
  }
  const double room = 0.05 * (high - low) + 0.5;
  Table t;
  t.caption = fmt::format(
      "Part by part: change in dB after over before, with its 90 % interval, drawn from {:.0f} to {:+.0f} dB "
      "with a line at no change. Before and after: how far its lines stand out, in standard deviations.",
      low - room, high + room);
  t.head = {"part", "so", "change", "dB", "from", "to", "before", "after"};
  t.numbers = {false, false, false, true, true, true, true, true};
  t.kind = "changes";
  for (const PartChange& p : c.parts) {
    const bool measured = p.pairs > 0;
    t.rows.push_back(
        {escaped(name_of(p)), to_text(p.verdict),
         measured ? interval_svg({p.low_db, p.change_db, p.high_db}, low - room, high + room) : "",
         measured ? decimal(p.change_db, 1) : "-", measured ? decimal(p.low_db, 1) : "-",
         measured ? decimal(p.high_db, 1) : "-", decimal(p.heard_before, 1), decimal(p.heard_after, 1)});
    t.row_attributes.push_back(fmt::format("data-part=\"{}\"", escaped(p.part)));
  }
  return c.parts.empty() ? "" : "<h2>What changed</h2>\n" + to_html(t);
}

std::string pairs(const Comparison& c) {
  Table t;
  t.caption =
      "Runs that were set against each other. Louder: how much louder the later one was recorded, by the "
      "noise of road and wind in both.";
  t.head = {"before", "after", "as told", "speed %", "louder dB", "sure to dB"};
  t.numbers = {false, false, false, true, true, true};
  t.kind = "pairs";
  for (const RunPair& p : c.pairs) {
    const Run& run = c.before[p.before];
    t.rows.push_back({escaped(run.file), escaped(c.after[p.after].file), escaped(as_told(run)),
                      fmt::format("{:+.1f}", 100.0 * (p.speed_ratio - 1.0)),
                      fmt::format("{:+.1f}", p.gain_db), fmt::format("{:.1f}", p.gain_sd_db)});
  }
  return (c.pairs.empty() ? "<p>No two runs could be set against each other.</p>\n" : to_html(t)) +
         list(c.remarks);
}

std::string reasons(const Comparison& c) {
  std::string out = "<dl>\n";
  for (const PartChange& p : c.parts)
    if (!p.reason.empty())
      out += fmt::format("<dt>{}</dt><dd>{}</dd>\n", escaped(name_of(p)), escaped(p.reason));
  return out + "</dl>\n";
}

}  // namespace

std::string comparison_page(const Comparison& c) {
  Page page;
  page.title = fmt::format("{}, before and after: {}", c.car_name, to_text(c.verdict));
  page.kind = "Before and after, by gearhark";
  page.car = c.car_name;
  page.first = verdict_line(sign_of(c.verdict), to_text(c.verdict)) +
               fmt::format("<p class=\"reason\">{}</p>\n", escaped(c.reason)) + mind(c.cautions) + changes(c);
  if (std::any_of(c.parts.begin(), c.parts.end(), [](const PartChange& p) { return !p.reason.empty(); }))
    page.chapters.push_back({"why", "Why, part by part", reasons(c)});
  page.chapters.push_back({"pairs", "Runs paired", pairs(c)});
  page.json = comparison_json(c);
  return to_html(page);
}

}  // namespace gearhark
