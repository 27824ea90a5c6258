#include "exhibit_blocks.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "html.hpp"
#include "picture.hpp"
#include "words.hpp"

namespace gearhark::report {
namespace {

using Json = nlohmann::ordered_json;

std::string key_of(const Mark& m) {
  return fmt::format("{}: {:.2f} per turn, {:.0f} Hz", m.words, m.order.value(), m.frequency.value());
}

// Numbered as in the picture; what was not found has a number too, and none is shown.
std::string key(const DrawnSpectrum& s) {
  std::string out;
  for (std::size_t i = 0; i < s.marks.size(); ++i)
    if (s.marks[i].found)
      out += fmt::format("<li value=\"{}\">{}</li>\n", i + 1, escaped(key_of(s.marks[i])));
  return out.empty() ? "" : "<ol class=\"key\">\n" + out + "</ol>\n";
}

std::string healthy_words(const DrawnSpectrum& s) {
  std::string out;
  for (const Mark& m : s.healthy)
    out += fmt::format("{}{} at {:.2f}", out.empty() ? "" : ", ", m.words, m.order.value());
  return out;
}

// What the picture shows, in a sentence made of its own numbers.
std::string says(const DrawnSpectrum& s) {
  if (s.marks.empty()) return "No single lines were looked for here.";
  const auto found = std::count_if(s.marks.begin(), s.marks.end(), [](const Mark& m) { return m.found; });
  return fmt::format("{} of {} lines looked for stand out{}", found, s.marks.size(),
                     found > 0 ? ", numbered." : ".");
}

const char* turn_of(const SuspectExhibit& e) { return e.engine_bound ? "engine" : "driven wheels"; }

// The picture as it prints, and room for the interactive one, which script fills in.
std::string spectrum_figure(const std::string& id, const SuspectExhibit& e, const DrawnSpectrum& s,
                            const std::string& what, const std::string& caption) {
  const std::string sentence = fmt::format("{} Run {}. {}", what, e.recording + 1, says(s));
  return fmt::format(
      "<figure>\n{0}<div class=\"live\"><div class=\"chart\" data-chart=\"{1}\" tabindex=\"0\" "
      "role=\"group\" "
      "aria-label=\"{2} Arrow keys move, plus and minus zoom, 0 shows all.\"></div><div "
      "class=\"steps\"></div><p class=\"says\" aria-live=\"polite\"></p></div>\n"
      "<figcaption>{2} {3}Across: times per turn of the {4}. Up: dB over the noise there, the strongest of "
      "each step, so higher than the means in the table.</figcaption>\n{5}</figure>\n",
      spectrum_svg(s, sentence), id, escaped(sentence), caption, turn_of(e), key(s));
}

std::string sound(const std::string& words, const std::vector<float>& samples, double rate_hz) {
  return fmt::format(
      "<p class=\"sound\">{0}<audio controls=\"controls\" preload=\"none\" aria-label=\"{0}\" "
      "src=\"data:audio/wav;base64,{1}\"></audio></p>\n",
      escaped(words), base64(wav_bytes(samples, rate_hz)));
}

std::string number_or_dash(const auto& value, int digits) {
  return value ? fmt::format("{:.{}f}", value->value(), digits) : std::string("-");
}

Json drawn(const SuspectExhibit& e, const DrawnSpectrum& s) {
  Json marks = Json::array(), healthy = Json::array(), db = Json::array();
  for (const Mark& m : s.marks)
    marks.push_back(
        {{"words", m.words}, {"order", m.order.value()}, {"hz", m.frequency.value()}, {"found", m.found}});
  for (const Mark& m : s.healthy) healthy.push_back({{"words", m.words}, {"order", m.order.value()}});
  for (const float value : s.db) db.push_back(std::round(10.0 * static_cast<double>(value)) / 10.0);
  return {{"first", s.first}, {"step", s.step}, {"rate", e.mean_rate.value()}, {"turn", turn_of(e)},
          {"db", db},         {"marks", marks}, {"healthy", healthy}};
}

}  // namespace

std::string levels(const std::vector<RunReport>& runs, const SuspectExhibit& e) {
  double most = 0.0;
  for (const RunLevel& l : e.levels)
    if (l.strongest) most = std::max(most, l.strongest->value());
  Table t;
  t.caption =
      "Level over the runs: the strongest of its lines in each, in dB over the noise. Expected: how loud "
      "such a fault should be in that run, by trade practice, of its loudest.";
  t.head = {"run", "as told", "level", "dB", "lines found", "expected %"};
  t.numbers = {false, false, false, true, true, true};
  t.kind = "levels";
  for (const RunLevel& l : e.levels) {
    const Run& run = runs[static_cast<std::size_t>(l.recording)].run;
    t.rows.push_back({fmt::format("{}", l.recording + 1), escaped(as_told(run)),
                      l.strongest ? bar_svg(l.strongest->value(), most) : "",
                      l.strongest ? fmt::format("{:.1f}", l.strongest->value()) : "-",
                      l.looked_for ? fmt::format("{} of {}", l.found, l.looked_for) : "-",
                      fmt::format("{:.0f}", 100.0 * l.expected)});
  }
  return to_html(t);
}

std::string pictures(const std::string& id, const std::vector<RunReport>& runs, const SuspectExhibit& e) {
  std::string out;
  if (e.envelope) {
    out += "<h3>The rhythm of its band</h3>\n";
    out += spectrum_figure(id + "-envelope", e, *e.envelope,
                           "Envelope spectrum: how often the sound swells and fades.",
                           fmt::format("Band from {:.0f} to {:.0f} Hz. Flat places at 0 dB: what a sound car "
                                       "makes there was left out. Dotted: looked for, not found. ",
                                       e.band_low.value(), e.band_high.value()));
  }
  out += "<h3>The tones themselves</h3>\n";
  const std::string healthy = healthy_words(e.tones);
  out += spectrum_figure(
      id + "-tones", e, e.tones, "Order spectrum: the tones that turn with the car.",
      (e.envelope ? std::string("The lines of the rhythm, looked for among the tones too; what stands out "
                                "may be another part's tone. ")
                  : "") +
          (healthy.empty() ? "" : "Dashed: what every sound car makes: " + escaped(healthy) + ". "));
  if (e.map && e.map->rows > 0) {
    const auto& excerpt = runs[static_cast<std::size_t>(e.recording)].excerpt;
    const std::string sentence = fmt::format(
        "Order map of run {}: {:.0f} s from top to bottom, {} per turn of the {} across. Dark: strong. Lines "
        "that keep to the shaft run straight down.",
        e.recording + 1, e.map->duration.value(), e.map->of_envelope ? "swellings of the band" : "tones",
        turn_of(e));
    out += fmt::format(
        "<h3>{}</h3>\n<figure>\n{}<figcaption>{} The numbers above are the lines that stand "
        "out.{}</figcaption></figure>\n",
        excerpt ? "A part of the run" : "The whole run", map_svg(*e.map, sentence), escaped(sentence),
        only_part_drawn(excerpt));
  }
  return out;
}

std::string player(const Clip& c) {
  std::string out = fmt::format(
      "<div class=\"noprint\"><h3>Listen</h3>\n<p>Turn the volume down first: {} louder than in the "
      "car.</p>\n",
      c.as_recorded.empty() ? "it is made" : "both are made equally loud, and");
  out +=
      sound(fmt::format("The band alone, {:.0f} to {:.0f} Hz, without the tones of a sound car: run {}, from "
                        "{:.1f} s, {:.1f} s long",
                        c.low.value(), c.high.value(), c.recording + 1, c.from.value(), c.duration.value()),
            c.alone, c.rate_hz);
  if (!c.as_recorded.empty()) out += sound("The same seconds as recorded", c.as_recorded, c.rate_hz);
  return out + "</div>\n";
}

std::string speeds(const std::vector<RunReport>& runs, const Exhibits& x) {
  const SpeedUnit unit = unit_of(runs);
  std::string out = "<p>Found in the sound itself, for the tyre in the car file.</p>\n";
  for (const SpeedCurve& c : x.speeds) {
    const RunReport& r = runs[static_cast<std::size_t>(c.recording)];
    const std::string sentence =
        fmt::format("Run {}: told {}; {}.", c.recording + 1, stated(r.run.speed), plus_minus(found_speed(r)));
    out += fmt::format(
        "<figure>\n{}<figcaption>{} Across: seconds. Up: {}. Full line: found; {}{}</figcaption></figure>\n",
        speed_svg(c, unit, sentence), escaped(sentence),
        unit == SpeedUnit::mph     ? "mph"
        : unit == SpeedUnit::knots ? "knots"
        : unit == SpeedUnit::mps   ? "m/s"
                                   : "km/h",
        c.told_mps.empty() ? "no speed over time was told." : "dashed: told.", only_part_drawn(r.excerpt));
  }
  return out;
}

std::string car_lines(const std::vector<RunReport>& runs, const Exhibits& x) {
  std::string out =
      "<p>What each part sounds like, sound or not: its first line. Hz at the speed found.</p>\n";
  for (const OrderTable& table : x.tables) {
    Table t;
    t.caption = fmt::format("Gear {}{}{}", table.asked.state.gear.label,
                            table.asked.state.clutch == Clutch::pedal_down ? ", clutch pedal down" : "",
                            table.asked.speed ? ", " + to_text(*table.asked.speed, unit_of(runs), 1) : "");
    t.head = {"part", "what happens", "Hz", "per wheel turn", "per engine turn"};
    t.numbers = {false, false, true, true, true};
    t.kind = "lines";
    for (const OrderRow& row : table.rows)
      t.rows.push_back({escaped(row.name), escaped(row.happening), number_or_dash(row.frequency, 1),
                        number_or_dash(row.per_wheel, 3), number_or_dash(row.per_engine, 3)});
    out += fmt::format("<details{}><summary>Gear {}</summary>\n{}</details>\n",
                       &table == &x.tables.front() ? " open=\"open\"" : "",
                       escaped(table.asked.state.gear.label), to_html(t));
  }
  return out;
}

void add_drawn(Json& charts, const std::string& id, const SuspectExhibit& e) {
  if (e.envelope) charts[id + "-envelope"] = drawn(e, *e.envelope);
  charts[id + "-tones"] = drawn(e, e.tones);
}

void put_in(Page& page, const Json& charts) {
  if (charts.empty()) return;
  page.charts = Charts::interactive;
  page.drawn = charts.dump(-1, ' ', false, Json::error_handler_t::replace);
}

}  // namespace gearhark::report
