#include "gearhark/report/casebook.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "gearhark/units/text.hpp"
#include "wrap.hpp"

namespace gearhark {
namespace {

using Json = nlohmann::ordered_json;
using report::wrapped;

std::string found_words(const Finding& f) {
  std::string out = f.part.empty() ? "nothing wrong" : f.part;
  if (!f.fault.empty()) out += fmt::format(", {}", f.fault);
  return f.note.empty() ? out : fmt::format("{}: {}", out, f.note);
}

std::string said(const Json& d) {
  std::string out = d.value("verdict", "");
  if (d.contains("conformance")) out += fmt::format(" (conformance {})", d.value("conformance", 0));
  const Json suspects = d.value("suspects", Json::array());
  if (!suspects.empty())
    out +=
        fmt::format("; first {} {} %", suspects[0].value("part", ""),
                    whole_percent(Probability(std::clamp(suspects[0].value("probability", 0.0), 0.0, 1.0))));
  const Json options = d.value("options", Json::array());
  if (!options.empty()) out += fmt::format("cheapest expected: {}", options[0].value("name", ""));
  return out;
}

// What a kept paper said, in a line. Imported ones can be anything.
std::string said(const KeptPaper& p) {
  const Json d = Json::parse(p.json, nullptr, false);
  try {
    return d.is_object() ? said(d) : "not readable";
  } catch (const Json::exception&) {
    return "not readable";
  }
}

Json json_of(const Case& c) {
  Json recordings = Json::array(), papers = Json::array(), findings = Json::array();
  for (const KeptRecording& r : c.recordings)
    recordings.push_back({{"file", r.file}, {"sha256", r.sha256}, {"bytes", r.bytes}});
  for (const KeptPaper& p : c.papers)
    papers.push_back({{"kind", p.kind}, {"program", p.program}, {"filed", p.filed}, {"json", p.json}});
  for (const Finding& f : c.findings)
    findings.push_back({{"part", f.part}, {"fault", f.fault}, {"note", f.note}, {"filed", f.filed}});
  return {{"id", c.id},       {"key", c.key},        {"title", c.title},
          {"note", c.note},   {"opened", c.opened},  {"recordings", recordings},
          {"papers", papers}, {"findings", findings}};
}

Case case_from(const Json& j) {
  Case c;
  c.key = j.at("key").get<std::string>();
  c.title = j.at("title").get<std::string>();
  c.note = j.at("note").get<std::string>();
  c.opened = j.at("opened").get<std::string>();
  for (const Json& r : j.at("recordings"))
    c.recordings.push_back({r.at("file").get<std::string>(), r.at("sha256").get<std::string>(),
                            r.at("bytes").get<std::int64_t>()});
  for (const Json& p : j.at("papers"))
    c.papers.push_back({p.at("kind").get<std::string>(), p.at("json").get<std::string>(),
                        p.at("program").get<std::string>(), p.at("filed").get<std::string>()});
  for (const Json& f : j.at("findings"))
    c.findings.push_back({f.at("part").get<std::string>(), f.at("fault").get<std::string>(),
                          f.at("note").get<std::string>(), f.at("filed").get<std::string>()});
  return c;
}

std::string dumped(const Json& json) {
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace

std::string case_list_text(const std::vector<Case>& cases) {
  if (cases.empty()) return "No cases yet.\n";
  std::string out;
  for (const Case& c : cases) {
    const std::string found =
        c.findings.empty() ? std::string("not opened up yet") : "found " + found_words(c.findings.back());
    out += wrapped(fmt::format("{:>4}  {:.10}  ", c.id, c.opened),
                   fmt::format("{} ({} recordings, {} papers; {})", c.title, c.recordings.size(),
                               c.papers.size(), found));
  }
  return out;
}

std::string case_text(const Case& c) {
  std::string out = fmt::format("Case {}: {}\nopened {}\n", c.id, c.title, c.opened);
  if (!c.note.empty()) out += wrapped("  ", c.note);
  for (const KeptRecording& r : c.recordings)
    out +=
        wrapped("  recording  ", fmt::format("{}, {} bytes, SHA-256 {:.16}...", r.file, r.bytes, r.sha256));
  for (const KeptPaper& p : c.papers)
    out += wrapped("  paper      ",
                   fmt::format("{}, filed {} by gearhark {}: {}", p.kind, p.filed, p.program, said(p)));
  for (const Finding& f : c.findings)
    out += wrapped("  found      ", fmt::format("{} ({})", found_words(f), f.filed));
  return out;
}

std::string tally_text(const std::vector<TallyRow>& rows) {
  if (rows.empty()) return "No case has both a diagnosis and a finding yet.\n";
  std::string out = fmt::format("{:<20} {:>6} {:>6} {:>9} {:>8} {:>10}\n", "found", "cases", "first",
                                "in three", "missed", "can't tell");
  for (const TallyRow& r : rows)
    out += fmt::format("{:<20} {:>6} {:>6} {:>9} {:>8} {:>10}\n", r.found, r.cases, r.first, r.first_three,
                       r.missed, r.unsure);
  return out;
}

std::string casebook_json(const std::vector<Case>& cases) {
  Json list = Json::array();
  for (const Case& c : cases) list.push_back(json_of(c));
  return dumped({{"format", "gearhark casebook"}, {"version", 1}, {"cases", list}});
}

std::string tally_json(const std::vector<TallyRow>& rows) {
  Json list = Json::array();
  for (const TallyRow& r : rows)
    list.push_back({{"found", r.found},
                    {"cases", r.cases},
                    {"first", r.first},
                    {"first_three", r.first_three},
                    {"missed", r.missed},
                    {"cannot_tell", r.unsure}});
  return dumped({{"format", "gearhark tally"}, {"version", 1}, {"rows", list}});
}

Result<std::vector<Case>> read_casebook(std::string_view json, std::string_view file) {
  const auto unusable = [&](std::string_view why) {
    return Error{
        fmt::format("{}: this is no casebook export ({}); give what gearhark case export wrote", file, why)};
  };
  try {
    const Json book = Json::parse(json);
    if (!book.is_object() || book.value("format", "") != "gearhark casebook")
      return unusable("its format is not \"gearhark casebook\"");
    if (book.value("version", 0) != 1) return unusable("its version is not 1");
    std::vector<Case> cases;
    for (const Json& c : book.at("cases")) cases.push_back(case_from(c));
    return cases;
  } catch (const nlohmann::json::exception& e) {
    const std::string said_why = e.what();
    const auto after_code = said_why.find("] ");
    std::string why = after_code == std::string::npos ? said_why : said_why.substr(after_code + 2);
    std::replace(why.begin(), why.end(), '\n', ' ');
    return unusable(why);
  }
}

}  // namespace gearhark
