#include "gearhark/report/page.hpp"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <pugixml.hpp>
#include <sstream>

#include "example.hpp"
#include "gearhark/repair/sha256.hpp"
#include "gearhark/report/compare.hpp"
#include "gearhark/report/confirm.hpp"
#include "gearhark/report/diagnosis.hpp"
#include "gearhark/report/plan.hpp"

using namespace gearhark;
using namespace gearhark::example;
using Catch::Contains;
using nlohmann::json;

namespace {

const std::string hostile = "</script><script>alert(1)</script> & \"quoted\" 'too' <b>";

DrawnSpectrum drawn() {
  DrawnSpectrum s;
  s.first = 0.05;
  s.step = 0.1;
  s.db.assign(600, 1.0f);
  s.db[252] = 14.0f;
  s.marks = {{"outer race, 1st harmonic", Order(25.25), Hertz(271.4), true},
             {"outer race, 2nd harmonic", Order(50.5), Hertz(542.8), false}};
  s.healthy = {{"engine firing", Order(11.0), Hertz(118.3), false}};
  return s;
}

Exhibits exhibits() {
  SuspectExhibit e;
  e.part = "pinion_head_bearing";
  e.mean_rate = ShaftRate(10.75);
  e.band_low = Hertz(1000);
  e.band_high = Hertz(3000);
  e.envelope = e.tones = drawn();
  e.levels = {{0, Decibels::already(9.2), 2, 1, 1.0}, {1, std::nullopt, 0, 0, 0.5}};
  OrderMap map;
  map.rows = 4;
  map.columns = 5;
  map.duration = Seconds(20);
  map.to = 60;
  map.db.assign(20, 3.0f);
  e.map = map;
  Exhibits x;
  x.suspects = {e};
  x.speeds = {{0, Seconds(0.25), {19.0, 19.2, 19.1}, {20.1, 20.1, 20.1}},
              {1, Seconds(0.25), {19.0, 19.2}, {}}};
  OrderTable table;
  table.asked.state.gear = {"3"};
  OrderRow row;
  row.part = "pinion_head_bearing";
  row.name = "pinion head bearing";
  row.happening = "defect on the outer race";
  row.per_wheel = Order(25.25);
  row.frequency = Hertz(271.44);
  table.rows = {row};
  x.tables = {table};
  return x;
}

std::vector<Clip> one_clip() {
  Clip c;
  c.part = "pinion_head_bearing";
  c.low = Hertz(1000);
  c.high = Hertz(3000);
  c.duration = Seconds(0.01);
  c.rate_hz = 16000;
  c.alone.assign(160, 0.5f);
  return {c};
}

Confirmation confirmation() {
  Confirmation c;
  c.car_name = "Invented car";
  c.part = "pinion_head_bearing";
  c.name = "pinion head bearing";
  c.verdict = ConfirmVerdict::not_heard;
  c.reason = "Not heard.";
  c.probability = Probability(0.04);
  c.runs = {report("run1.m4a"), report("run2.m4a")};
  ConfirmRun r;
  r.heard = -0.3;
  r.enough = 12.3;
  r.injected = 12;
  r.would_be_heard = Loudness{Decibels::already(7.0), 12, 5};
  r.lines = {item("outer race, 1st harmonic", 25.25, 271.4, 4.5, 0.004, true)};
  c.by_run = {r};
  c.next_run = next_run();
  c.cautions = {"A sound is no inspection."};
  return c;
}

Comparison comparison() {
  Comparison c;
  c.car_name = "Invented car";
  c.verdict = Change::gone;
  c.reason = "pinion head bearing: no longer stands out.";
  PartChange p;
  p.part = "pinion_head_bearing";
  p.heard_before = 109.04;
  p.heard_after = 3.6;
  p.change_db = -14.1;
  p.low_db = -17.1;
  p.high_db = -11.5;
  p.pairs = 1;
  p.verdict = Change::gone;
  p.reason = "no longer stands out";
  c.parts = {p};
  c.before = {report("run1.m4a").run};
  c.after = {report("run4.m4a").run};
  c.pairs = {{0, 0, 1.005, 0.3, 0.5}};
  c.cautions = {"It does not say that the part is sound."};
  return c;
}

Plan plan() {
  Plan p;
  p.car_name = "Invented car";
  p.suspect_names = {"pinion head bearing"};
  p.unit = SpeedUnit::mph;
  p.entropy = 1.0;
  p.expected_drop = 0.4;
  p.runs = {next_run()};
  p.cautions = {"A road test can injure."};
  p.how_to_record = {"Windows shut."};
  return p;
}

struct Made {
  std::string name, page, machine_form;
};
std::vector<Made> all_pages() {
  return {
      {"diagnosis", diagnosis_page(diagnosis(), exhibits(), one_clip()), diagnosis_json(diagnosis())},
      {"confirmation", confirmation_page(confirmation(), exhibits(), {}), confirmation_json(confirmation())},
      {"comparison", comparison_page(comparison()), comparison_json(comparison())},
      {"plan", plan_page(plan()), plan_json(plan())}};
}

// Contents of every element of that name, taken out of the page; what is left is the page without them.
std::vector<std::string> take_out(std::string& page, const std::string& name) {
  std::vector<std::string> taken;
  for (auto from = page.find("<" + name); from != std::string::npos; from = page.find("<" + name, from + 1)) {
    const auto open = page.find('>', from) + 1, end = page.find("</" + name + ">", open);
    taken.push_back(page.substr(open, end - open));
    page.erase(open, end - open);
  }
  return taken;
}

// The page as a tree. Every element is closed and every text escaped, or this fails.
struct Tree {
  pugi::xml_document document;
  std::vector<std::string> scripts, styles;
  explicit Tree(std::string page) {
    scripts = take_out(page, "script");
    styles = take_out(page, "style");
    const auto parsed =
        document.load_string(page.c_str(), pugi::parse_default | pugi::parse_ws_pcdata_single);
    INFO(parsed.description() << " at " << page.substr(static_cast<std::size_t>(parsed.offset), 80));
    REQUIRE(parsed);
  }
  [[nodiscard]] pugi::xml_node one(const std::string& path) const {
    const auto found = document.select_node(path.c_str());
    INFO(path);
    REQUIRE(found);
    return found.node();
  }
  [[nodiscard]] std::vector<pugi::xml_node> all(const std::string& path) const {
    std::vector<pugi::xml_node> out;
    for (const auto& found : document.select_nodes(path.c_str())) out.push_back(found.node());
    return out;
  }
};

std::string words_of(const pugi::xml_node& node) {
  std::string out;
  for (const auto& text : node.select_nodes(".//text()")) out += text.node().value();
  return out;
}

std::vector<std::string> cells_of(const pugi::xml_node& row) {
  std::vector<std::string> out;
  for (const auto& cell : row.children()) out.push_back(words_of(cell));
  return out;
}

// The number that a cell begins with.
double number_in(const std::string& words) { return std::stod(words); }

std::string base64_of_hex(const std::string& hex) {
  std::string bits, out;
  for (const char c : hex)
    for (int bit = 3; bit >= 0; --bit) bits += ((c <= '9' ? c - '0' : c - 'a' + 10) >> bit & 1) ? '1' : '0';
  while (bits.size() % 6) bits += '0';
  for (std::size_t i = 0; i < bits.size(); i += 6)
    out += "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"[std::stoul(bits.substr(i, 6),
                                                                                         nullptr, 2)];
  while (out.size() % 4) out += '=';
  return out;
}

}  // namespace

TEST_CASE("the numbers of the diagnosis page are those of the JSON") {
  const Tree page(diagnosis_page(diagnosis(), exhibits(), one_clip()));
  const json j = json::parse(diagnosis_json(diagnosis()));
  const auto rows = page.all("//table[@class='suspects']/tbody/tr");
  REQUIRE(rows.size() == j["suspects"].size());
  const auto bars = page.all("//li[@class='suspect']");
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const json& s = j["suspects"][i];
    CHECK(rows[i].attribute("data-part").value() == s["part"].get<std::string>());
    CHECK(rows[i].attribute("data-probability").as_double() == Approx(s["probability"].get<double>()));
    CHECK(number_in(cells_of(rows[i])[3]) == Approx(s["log_evidence"].get<double>()).margin(0.051));
    REQUIRE(i < bars.size());
    CHECK(bars[i].attribute("data-probability").as_double() == Approx(s["probability"].get<double>()));
    const auto length = bars[i].select_node(".//rect[@class='length']").node().attribute("width").as_string();
    CHECK(number_in(length) == Approx(100.0 * s["probability"].get<double>()).margin(0.01));
  }
  CHECK(words_of(bars[0].select_node("span[@class='share']").node()) == "80 %");
  CHECK(words_of(bars[2].select_node("span[@class='share']").node()) == "<1 %");
  CHECK(page.one("//li[@class='none no-fault']").attribute("data-probability").as_double() ==
        j["no_fault_probability"]);
  CHECK(page.one("//li[@class='none unexplained']").attribute("data-probability").as_double() ==
        j["unexplained_probability"]);
  const auto lines = page.all("//section[@id='suspect-1']//table[@class='evidence']/tbody/tr");
  REQUIRE(lines.size() == j["suspects"][0]["evidence"].size());
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const json& line = j["suspects"][0]["evidence"][i];
    const auto cells = cells_of(lines[i]);
    CHECK(cells[0] == line["kind"].get<std::string>());
    CHECK(number_in(cells[1]) == line["recording"].get<int>() + 1);
    CHECK(number_in(cells[2]) == Approx(line["frequency_hz"].get<double>()).margin(0.051));
    CHECK(number_in(cells[3]) == Approx(line["order"].get<double>()).margin(0.0006));
    CHECK(number_in(cells[5]) == Approx(line["above_background_db"].get<double>()).margin(0.051));
    CHECK((lines[i].attribute("class").value() == std::string("out")) == line["found"].get<bool>());
  }
  CHECK(cells_of(lines[1])[5] == "0.0");  // not -0.0
  const std::string recordings = words_of(page.one("//section[@id='recordings']"));
  CHECK_THAT(recordings,
             Contains("21.8 s") && Contains("10.750 \xC2\xB1 0.020 turns/s") && Contains("15.3 kHz"));
  CHECK_THAT(recordings, Contains(j["recordings"][1]["problems"][0].get<std::string>()));
}

TEST_CASE(
    "the first screen of the diagnosis page has verdict, ranking, what is next and cautions, in this order") {
  const Tree page(diagnosis_page(diagnosis(), {}, {}));
  const std::string first = words_of(page.one("//div[@class='first']"));
  std::size_t at = 0;
  for (const char* words :
       {"Fault heard", "likeliest source (80 %)", "How likely", "What to do next",
        "Gear 4, float, left, 40 mph for 30 s. Here it is loud.", "Mind", "held only by a jack"}) {
    INFO(words);
    at = first.find(words, at);
    REQUIRE(at != std::string::npos);
  }
}

TEST_CASE(
    "every page holds its machine form, and asks for nothing: only the scripts and styles in it may run") {
  for (const auto& [name, html, machine_form] : all_pages()) {
    INFO(name);
    const Tree page(html);
    bool held = false;
    for (const std::string& script : page.scripts)
      held = held || (script.find("\"format\"") < 20 && json::parse(script) == json::parse(machine_form));
    CHECK(held);
    const std::string policy =
        page.one("//meta[@http-equiv='Content-Security-Policy']").attribute("content").value();
    CHECK_THAT(policy,
               Contains("default-src 'none'") && !Contains("unsafe") && !Contains("http") && !Contains("*"));
    REQUIRE(page.styles.size() == 1);
    CHECK_THAT(policy, Contains("style-src 'sha256-" + base64_of_hex(sha256(page.styles[0])) + "'"));
    std::size_t allowed = 0;
    for (const std::string& script : page.scripts)
      if (script.front() != '{') {
        CHECK_THAT(policy, Contains("'sha256-" + base64_of_hex(sha256(script)) + "'"));
        ++allowed;
      }
    CHECK(allowed == (name == "diagnosis" || name == "confirmation" ? 2u : 0u));
    for (const char* refers : {"src", "href", "style", "action", "srcset", "poster", "data"})
      for (const auto& node : page.all(std::string("//*[@") + refers + "]")) {
        const std::string to = node.attribute(refers).value();
        INFO(refers << "=" << to.substr(0, 60));
        CHECK((to.starts_with("#") || to.starts_with("data:")));
      }
    CHECK(page.all("//link").empty());
    CHECK(page.all("//iframe").empty());
  }
}

TEST_CASE("what comes from a file can't become markup or script") {
  Diagnosis d = diagnosis();
  d.car_name = d.reason = d.suspects[0].name = d.suspects[0].in_words = d.suspects[0].part = hostile;
  d.runs[0].run.file = hostile + "caf\xe9\x01.wav";
  d.runs[1].problems = d.cautions = {hostile};
  d.suspects[0].evidence[0].kind = hostile;
  d.next_run->because = d.next_run->gear.label = hostile;
  Exhibits x = exhibits();
  x.suspects[0].part = hostile;
  x.suspects[0].envelope->marks[0].words = x.suspects[0].tones.healthy[0].words = hostile;
  x.tables[0].rows[0].name = x.tables[0].asked.state.gear.label = hostile;
  auto clips = one_clip();
  clips[0].part = hostile;
  Confirmation c = confirmation();
  c.car_name = c.name = c.reason = c.runs[0].run.file = c.by_run[0].lines[0].kind = hostile;
  Comparison b = comparison();
  b.car_name = b.reason = b.parts[0].part = b.parts[0].reason = b.before[0].file = hostile;
  b.remarks = {hostile};
  Plan p = plan();
  p.car_name = p.suspect_names[0] = p.runs[0].because = p.runs[0].gear.label = hostile;
  p.unheard = p.cautions = p.how_to_record = {hostile};
  p.alike = {{hostile}};
  for (const std::string& html :
       {diagnosis_page(d, x, clips), confirmation_page(c, x, clips), comparison_page(b), plan_page(p)}) {
    CHECK_THAT(html, !Contains("<script>alert"));
    const Tree page(html);
    CHECK(words_of(page.one("//h1")) == hostile);
    CHECK(page.all("//b").empty());
  }
  CHECK_THAT(diagnosis_page(d, x, clips), Contains("caf\xEF\xBF\xBD\xEF\xBF\xBD.wav"));
}

TEST_CASE("a spectrum is drawn with every value and mark, and the same goes to the interactive chart") {
  const Tree page(diagnosis_page(diagnosis(), exhibits(), {}));
  const auto still = page.all("//section[@id='suspect-1']//svg[@class='plot still']");
  REQUIRE(still.size() == 2);
  std::istringstream points(still[0].select_node(".//polyline").node().attribute("points").value());
  std::size_t count = 0, highest = 0;
  double x = 0.0, y = 0.0, top = 1e9;
  for (char comma; points >> x >> comma >> y; ++count)
    if (y < top) {
      top = y;
      highest = static_cast<std::size_t>(x);
    }
  CHECK(count == 600);
  CHECK(highest == 252);
  CHECK(still[0].select_nodes(".//line[@class='found']").size() == 1);
  CHECK(still[0].select_nodes(".//line[@class='looked']").size() == 1);
  CHECK(still[0].select_nodes(".//line[@class='healthy']").size() == 1);
  // 25.25 of 60.05 orders
  CHECK(still[0].select_node(".//line[@class='found']").node().attribute("x1").value() ==
        std::string("42.05%"));
  CHECK_THAT(still[0].attribute("aria-label").value(), Contains("1 of 2 lines looked for stand out"));
  json drawn_data;
  for (const std::string& script : page.scripts)
    if (script.starts_with("{\"suspect-1-envelope\"")) drawn_data = json::parse(script)["suspect-1-envelope"];
  REQUIRE(drawn_data["db"].size() == 600);
  CHECK(drawn_data["db"][252] == 14.0);
  CHECK(drawn_data["step"] == 0.1);
  CHECK(drawn_data["marks"][0]["hz"] == 271.4);
  CHECK(drawn_data["marks"][0]["found"] == true);
  for (const auto& chart : page.all("//div[@data-chart]"))
    CHECK((chart.attribute("tabindex").as_int(-1) == 0 && chart.attribute("aria-label")));
}

TEST_CASE("levels, speeds and the car's lines are shown as they are, in the user's unit") {
  const Tree page(diagnosis_page(diagnosis(), exhibits(), {}));
  const auto levels = page.all("//table[@class='levels']/tbody/tr");
  REQUIRE(levels.size() == 2);
  CHECK(cells_of(levels[0])[3] == "9.2");
  CHECK(cells_of(levels[0])[4] == "1 of 2");
  CHECK(cells_of(levels[1])[3] == "-");
  const std::string speed = words_of(page.one("//section[@id='speed']"));
  CHECK_THAT(speed,
             Contains("told 45 mph") && Contains("Up: mph.") && Contains("no speed over time was told."));
  CHECK(page.all("//section[@id='speed']//polyline[@class='told']").size() == 1);
  const auto lines = page.all("//table[@class='lines']/tbody/tr");
  REQUIRE(lines.size() == 1);
  CHECK(cells_of(lines[0])[2] == "271.4");
  CHECK(cells_of(lines[0])[3] == "25.250");
  CHECK(cells_of(lines[0])[4] == "-");
}

TEST_CASE("of a long run the page says which part of it is drawn") {
  Diagnosis d = diagnosis();
  CHECK_THAT(diagnosis_page(d, exhibits(), {}), Contains("<h3>The whole run</h3>"));
  d.runs[0].excerpt = Stretch{Seconds(720), Seconds(785)};
  const Tree page(diagnosis_page(d, exhibits(), {}));
  const std::string said = "Of the long run only the part from 12:00 to 13:05 is drawn.";
  CHECK_THAT(words_of(page.one("//section[@id='speed']")), Contains(said));
  CHECK_THAT(words_of(page.one("//section[@id='suspect-1']")), Contains(said) && Contains("A part of the run"));
}

TEST_CASE("only a suspect that was heard has a player, and it holds the samples as 16-bit WAV") {
  CHECK(Tree(diagnosis_page(diagnosis(), exhibits(), {})).all("//audio").empty());
  const Tree page(diagnosis_page(diagnosis(), exhibits(), one_clip()));
  REQUIRE(page.all("//audio").size() == 1);
  const std::string source = page.one("//section[@id='suspect-1']//audio").attribute("src").value();
  // 44 + 2 x 160 bytes; "RIFF" is UklGR; 16384 (0.5 of full scale) is 00 40, so that the samples repeat as
  // AEAA.
  const std::string start = "data:audio/wav;base64,";
  REQUIRE(source.starts_with(start + "UklGR"));
  CHECK(source.size() == start.size() + (44 + 320 + 2) / 3 * 4);
  const std::string wav = wav_bytes({0.5f, -1.0f}, 16000.0);
  CHECK(wav.substr(22, 6) == std::string("\x01\x00\x80\x3e\x00\x00", 6));
  CHECK(wav.substr(44) == std::string("\x00\x40\x01\x80", 4));
}

TEST_CASE("the pages of confirm, compare and plan have their JSON's numbers") {
  const Tree c(confirmation_page(confirmation(), exhibits(), {}));
  CHECK_THAT(words_of(c.one("//div[@class='first']")),
             Contains("Not heard") && Contains("it has 4 %") && Contains("from +7 dB up (5 of 12 found)"));
  const auto run = cells_of(c.one("//div[@class='first']//table[@class='levels']/tbody/tr"));
  CHECK(run[3] == "-0.3");
  CHECK(run[4] == "12.3");
  CHECK(run[5] == "1 of 1");
  CHECK(run[6] == "Against it");
  const Tree b(comparison_page(comparison()));
  const auto change = cells_of(b.one("//table[@class='changes']/tbody/tr"));
  CHECK(change[0] == "pinion_head_bearing");
  CHECK(change[1] == "gone");
  CHECK((change[3] == "-14.1" && change[4] == "-17.1" && change[5] == "-11.5"));
  CHECK((change[6] == "109.0" && change[7] == "3.6"));
  CHECK_THAT(words_of(b.one("//div[@class='first']")), Contains("It does not say that the part is sound."));
  const Tree p(plan_page(plan()));
  CHECK_THAT(words_of(p.one("//li[@class='run']")),
             Contains("Gear 4, 30 s: at 40 mph, just enough throttle to hold it, in a gentle left bend") &&
                 Contains("end ________ mph"));
  CHECK_THAT(words_of(p.one("//main")), Contains("about 40 % of the question"));
}

TEST_CASE("a diagnosis of nothing still makes a page") {
  const Diagnosis nothing;
  const Tree page(diagnosis_page(nothing, {}, {}));
  CHECK_THAT(words_of(page.one("//p[@class='verdict']")), Contains("Can't tell"));
  CHECK(page.all("//audio").empty());
  CHECK_THAT(diagnosis_text(nothing), !Contains(" %"));
  const json machine = json::parse(diagnosis_json(nothing));
  CHECK(machine["no_fault_probability"].is_null());
  CHECK(machine["unexplained_probability"].is_null());
}
