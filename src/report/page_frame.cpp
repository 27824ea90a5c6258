#include "page_frame.hpp"

#include "gearhark/repair/sha256.hpp"
#include "html.hpp"
#include "page_parts.hpp"

namespace gearhark::report {
namespace {

std::string bytes_of_hex(const std::string& hex) {
  std::string out;
  for (std::size_t i = 0; i + 1 < hex.size(); i += 2)
    out += static_cast<char>(std::stoi(hex.substr(i, 2), nullptr, 16));
  return out;
}

// As a policy names a script or style that may stand in the page.
std::string hash_source(std::string_view text) {
  return fmt::format("'sha256-{}'", base64(bytes_of_hex(sha256(text))));
}

std::string policy(const std::string& style, const std::vector<std::string>& scripts) {
  std::string allowed = scripts.empty() ? " 'none'" : "";
  for (const auto& script : scripts) allowed += fmt::format(" {}", hash_source(script));
  return fmt::format(
      "default-src 'none'; style-src {}; script-src{}; img-src data:; media-src data:; base-uri 'none'; "
      "form-action 'none'",
      hash_source(style), allowed);
}

std::string contents(const Page& page) {
  if (page.chapters.size() < 2) return "";
  std::string out = "<nav aria-label=\"Contents\"><ul>\n";
  for (const Chapter& c : page.chapters)
    out += fmt::format("<li><a href=\"#{}\">{}</a></li>\n", c.id, escaped(c.heading));
  return out + "</ul></nav>\n";
}

std::string licence(const Page& page) {
  if (page.charts == Charts::none) return "";
  return "<details><summary>Licence of the chart library in this page (dygraphs)</summary><pre>" +
         escaped(chart_licence) + "</pre></details>\n";
}

}  // namespace

std::string to_html(const Page& page) {
  const bool charts = page.charts == Charts::interactive;
  const std::string style = std::string(charts ? chart_css : "") + std::string(page_css);
  std::vector<std::string> scripts;
  if (charts) scripts = {std::string(chart_js), std::string(page_js)};
  std::string out = fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n"
      "<meta http-equiv=\"Content-Security-Policy\" content=\"{}\"/>\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n"
      "<meta name=\"color-scheme\" content=\"light dark\"/>\n<meta name=\"referrer\" "
      "content=\"no-referrer\"/>\n"
      "<title>{}</title>\n<style>{}</style>\n</head>\n<body>\n",
      policy(style, scripts), escaped(page.title), style);
  out += fmt::format(
      "<header><p class=\"kind\">{}</p><h1>{}</h1>\n<p class=\"blanks\">Date ____________ Mileage "
      "____________ Registration ____________ Heard by ____________</p></header>\n<main>\n",
      escaped(page.kind), escaped(page.car));
  out += "<div class=\"first\">\n" + page.first + "</div>\n" + contents(page);
  for (const Chapter& c : page.chapters)
    out += fmt::format(
        "<section id=\"{0}\" aria-labelledby=\"{0}-h\"><h2 id=\"{0}-h\">{1}</h2>\n{2}</section>\n", c.id,
        escaped(c.heading), c.body);
  out += fmt::format(
      "</main>\n<footer>\n<p>Made by gearhark from {}, on the machine of whoever made it. This page asks "
      "nothing of any network; "
      "it holds its machine form (JSON) too.</p>\n{}</footer>\n",
      escaped(page.made_from), licence(page));
  out += "<script type=\"application/json\" id=\"machine-form\">" + json_in_script(page.json) + "</script>\n";
  if (charts)
    out += "<script type=\"application/json\" id=\"drawn\">" + json_in_script(page.drawn) + "</script>\n";
  for (const auto& script : scripts) out += "<script>" + script + "</script>\n";
  return out + "</body>\n</html>\n";
}

}  // namespace gearhark::report
