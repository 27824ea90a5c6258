#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>

#include "gearhark/report/page.hpp"
#include "gearhark/report/plan.hpp"
#include "html.hpp"
#include "page_blocks.hpp"
#include "page_frame.hpp"
#include "words.hpp"

namespace gearhark {
namespace {

using namespace report;

// One run with room to write beside it.
std::string run_card(const NextRun& run, std::size_t number, SpeedUnit unit) {
  return fmt::format(
      "<li class=\"run\"><p class=\"what\"><span class=\"number\">{}</span> <strong>Gear {}, {:.0f} "
      "s:</strong> {}</p>\n<p class=\"fine\">{}</p>\n"
      "<p class=\"write\">needle: start ________ end ________ {} &#160; noise: none / some / loud &#160; "
      "file: ______________</p></li>\n",
      number, escaped(run.gear.label), run.duration.value(), escaped(driving(run, unit)),
      escaped(run.because), unit == SpeedUnit::mph ? "mph" : "km/h");
}

std::string runs(const Plan& p) {
  if (p.runs.empty()) return "<p>No run within these limits is expected to tell these suspects apart.</p>\n";
  std::string out = "<ol class=\"runs\">\n";
  for (std::size_t i = 0; i < p.runs.size(); ++i) out += run_card(p.runs[i], i + 1, p.unit);
  return out + "</ol>\n";
}

}  // namespace

std::string plan_page(const Plan& p) {
  Page page;
  page.title = fmt::format("{}: road test", p.car_name);
  page.kind = "Road test card by gearhark";
  page.car = p.car_name;
  page.made_from = "the car file";
  page.first =
      fmt::format("<p class=\"reason\">Suspects: {}</p>\n",
                  p.suspect_names.empty() ? "every part of the car file"
                                          : escaped(fmt::format("{}", fmt::join(p.suspect_names, "; ")))) +
      columns(mind(p.cautions, "Before you drive"), mind(p.how_to_record, "How to record"));
  page.chapters.push_back({"runs", "Runs", runs(p) + list(outlook(p))});
  page.json = plan_json(p);
  return to_html(page);
}

}  // namespace gearhark
