#include <memory>

#include "arguments.hpp"
#include "commands.hpp"
#include "gearhark/diagnosis/road_test.hpp"
#include "gearhark/repair/casebook.hpp"
#include "gearhark/repair/sha256.hpp"
#include "gearhark/report/casebook.hpp"
#include "gearhark/units/files.hpp"
#include "output.hpp"

namespace gearhark::cli {
namespace {

struct Options {
  std::string casebook, title, note, part, fault, file, json;
  std::int64_t id = 0;
  std::vector<std::string> files;
};
using Given = std::shared_ptr<Options>;

// --casebook, or the one in the user's data folder.
Result<std::string> book_path(const Options& given) {
  if (!given.casebook.empty()) return given.casebook;
  const auto folder = data_folder();
  if (!folder) return usage("neither HOME nor XDG_DATA_HOME is set; name the casebook with --casebook FILE");
  return *folder + "/casebook.sqlite";
}

Result<Casebook> book(const Options& given, Casebook::IfMissing if_missing) {
  const auto path = book_path(given);
  if (!path) return path.error();
  return Casebook::open(*path, if_missing);
}

std::optional<Error> take_recording(Case& out, const std::string& file) {
  const auto hash = file_hash(file);
  if (!hash) return hash.error();
  out.recordings.push_back({file, hash->sha256, static_cast<std::int64_t>(hash->bytes)});
  return std::nullopt;
}

// A result's JSON is kept whole; of a road test its recordings are taken; anything else is a recording.
std::optional<Error> take(Case& out, const std::string& file) {
  if (file.ends_with(".toml")) {
    const auto test = load_road_test(file);
    if (!test) return test.error();
    for (const Run& run : test->runs)
      if (auto error = take_recording(out, run.file)) return error;
    return std::nullopt;
  }
  if (!file.ends_with(".json")) return take_recording(out, file);
  const auto text = text_of_file(file, "the file");
  if (!text) return text.error();
  const auto kind = kind_of_paper(*text, file);
  if (!kind) return kind.error();
  out.papers.push_back({*kind, *text, GEARHARK_VERSION, ""});
  return std::nullopt;
}

Outcome say(const std::string& sentence) { return deliver(sentence + "\n", "", ""); }

Outcome open_case(const Options& given) {
  Case entry;
  entry.title = given.title;
  entry.note = given.note;
  for (const auto& file : given.files)
    if (auto error = take(entry, file)) return error;
  auto opened = book(given, Casebook::IfMissing::create);
  if (!opened) return opened.error();
  const auto id = opened->add(entry);
  if (!id) return id.error();
  return say(fmt::format("Case {}: {} recordings and {} papers kept.", *id, entry.recordings.size(),
                         entry.papers.size()));
}

Outcome put_in_case(const Options& given) {
  Case more;
  for (const auto& file : given.files)
    if (auto error = take(more, file)) return error;
  auto opened = book(given, Casebook::IfMissing::fail);
  if (!opened) return opened.error();
  const auto id = opened->put(given.id, more);
  if (!id) return id.error();
  return say(fmt::format("Case {}: {} recordings and {} papers more.", *id, more.recordings.size(),
                         more.papers.size()));
}

Outcome record_found(const Options& given) {
  if (const auto fault = fault_option(given.fault); !fault) return fault.error();
  auto opened = book(given, Casebook::IfMissing::fail);
  if (!opened) return opened.error();
  Case more;
  more.findings.push_back({given.part == "nothing" ? "" : given.part, given.fault, given.note, ""});
  const auto id = opened->put(given.id, more);
  if (!id) return id.error();
  return say(fmt::format("Case {}: recorded what was found.", *id));
}

Outcome list_cases(const Options& given) {
  const auto opened = book(given, Casebook::IfMissing::fail);
  if (!opened) return opened.error();
  const auto cases = opened->all();
  if (!cases) return cases.error();
  return deliver(case_list_text(*cases), casebook_json(*cases), given.json);
}

Outcome show_case(const Options& given) {
  const auto opened = book(given, Casebook::IfMissing::fail);
  if (!opened) return opened.error();
  const auto one = opened->one(given.id);
  if (!one) return one.error();
  return deliver(case_text(*one), casebook_json({*one}), given.json);
}

Outcome tally_cases(const Options& given) {
  const auto opened = book(given, Casebook::IfMissing::fail);
  if (!opened) return opened.error();
  const auto rows = opened->tally();
  if (!rows) return rows.error();
  return deliver(tally_text(*rows), tally_json(*rows), given.json);
}

Outcome export_cases(const Options& given) {
  const auto opened = book(given, Casebook::IfMissing::fail);
  if (!opened) return opened.error();
  const auto cases = opened->all();
  if (!cases) return cases.error();
  if (auto error = write_file(given.file, casebook_json(*cases))) return error;
  return say(fmt::format("{} cases written to {}.", cases->size(), given.file));
}

Outcome import_cases(const Options& given) {
  const auto text = text_of_file(given.file, "the file");
  if (!text) return text.error();
  const auto cases = read_casebook(*text, given.file);
  if (!cases) return cases.error();
  auto opened = book(given, Casebook::IfMissing::create);
  if (!opened) return opened.error();
  const auto fresh = opened->import(*cases);
  if (!fresh) return fresh.error();
  return say(fmt::format("{} of {} cases were new and are kept.", *fresh, cases->size()));
}

CLI::App* step(CLI::App& command, const char* name, const char* what, const Given& given, Action& chosen,
               Outcome (*work)(const Options&)) {
  CLI::App* made = command.add_subcommand(name, what);
  made->add_option("--casebook", given->casebook, "the casebook; in the user's data folder when left out")
      ->type_name("FILE");
  made->callback([given, &chosen, work] { chosen = [given, work] { return work(*given); }; });
  return made;
}

void id_option(CLI::App& command, Options& given) {
  command.add_option("id", given.id, "the case's number")->required()->type_name("ID");
}
void files_option(CLI::App& command, Options& given) {
  command
      .add_option("files", given.files,
                  "results written with --json (ending in .json), road tests (.toml), recordings")
      ->type_name("FILE...");
}

}  // namespace

void add_case(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command = app.add_subcommand("case", "the casebook: what was recorded, said, decided and found");
  command->require_subcommand(1);
  CLI::App* add = step(*command, "add", "open a case", given, chosen, open_case);
  add->add_option("title", given->title, "whose car, which complaint")->required()->type_name("TITLE");
  files_option(*add, *given);
  add->add_option("--note", given->note, "anything else")->type_name("TEXT");
  CLI::App* put = step(*command, "put", "keep more in a case", given, chosen, put_in_case);
  id_option(*put, *given);
  files_option(*put, *given);
  CLI::App* found =
      step(*command, "found", "record what the teardown really showed", given, chosen, record_found);
  id_option(*found, *given);
  found->add_option("part", given->part, "the part's ID in the car file, or nothing where nothing was wrong")
      ->required()
      ->type_name("PART");
  found->add_option("--fault", given->fault, "such as \"outer race\" or \"worn teeth\"")->type_name("FAULT");
  found->add_option("--note", given->note, "what it looked like")->type_name("TEXT");
  add_json_option(*step(*command, "list", "all cases, a line each", given, chosen, list_cases), given->json);
  CLI::App* show = step(*command, "show", "all that is kept of one case", given, chosen, show_case);
  id_option(*show, *given);
  add_json_option(*show, given->json);
  add_json_option(
      *step(*command, "tally", "found against said, per kind of fault", given, chosen, tally_cases),
      given->json);
  for (CLI::App* made :
       {step(*command, "export", "write all cases to a JSON file", given, chosen, export_cases),
        step(*command, "import", "take in the cases of such a file that are new", given, chosen,
             import_cases)})
    made->add_option("file", given->file, "JSON")->required()->type_name("FILE");
  command->footer(
      "Example:\n"
      "  gearhark case add \"Heron, growl in third\" diagnosis.json samples/pinion_bearing/ROADTEST.toml\n"
      "  gearhark case found 1 pinion_head_bearing --fault \"outer race\" --note \"spalled over a third\"\n"
      "  gearhark case tally");
}

}  // namespace gearhark::cli
