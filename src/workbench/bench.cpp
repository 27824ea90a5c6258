#include "bench.hpp"

#include <fmt/format.h>
#include <toml++/toml.h>

#include <algorithm>
#include <array>
#include <fstream>
#include <sstream>
#include <utility>

#include "bundle_runs.hpp"
#include "gearhark/units/files.hpp"
#include "secrets.hpp"
#include "sound_kind.hpp"

namespace gearhark::workbench {
namespace {

namespace fs = std::filesystem;
using Clock = std::chrono::steady_clock;

constexpr std::size_t most_runs = 60, largest_car = std::size_t{400} << 10;
constexpr std::array kinds{"diagnose", "compare", "confirm", "listen", "plan"};
constexpr std::size_t outline_parts = 600;

bool write(const fs::path& file, const std::string& text) {
  std::ofstream out(file, std::ios::binary);
  out << text;
  out.close();
  return static_cast<bool>(out);
}

// What no car file needs and what libraries answer by calling themselves as deep: keys of many parts,
// brackets in brackets. Counted crudely, strings and all.
bool nests_deeply(const std::string& text) {
  int dots = 0, brackets = 0;
  for (const char letter : text) {
    dots = letter == '\n' ? 0 : dots + (letter == '.');
    if (letter == '[' || letter == '{') ++brackets;
    if ((letter == ']' || letter == '}') && brackets > 0) --brackets;
    if (dots > 64 || brackets > 16) return true;
  }
  return false;
}

// The car's text as tables and values, for the form. Its mistakes are told by the child.
Json structure_of(const std::string& text) {
  if (nests_deeply(text)) return nullptr;
  try {
    std::ostringstream out;
    out << toml::json_formatter{toml::parse(text)};
    return Json::parse(out.str());
  } catch (const std::exception&) {
    return nullptr;
  }
}

std::string text_of(const Json& in, const char* key) {
  const auto at = in.find(key);
  return at != in.end() && at->is_string() ? at->get<std::string>() : "";
}

// `ours`: the server's name of the file, which the child knows; the mechanic knows his own.
void take_check(BenchRun& checked, const ChildOutcome& outcome, const std::string& ours) {
  checked.state = outcome.well() ? RunState::ready : RunState::unusable;
  if (outcome.well()) {
    checked.check = outcome.out;
    checked.check_summary = summary_of(outcome.out);
    return;
  }
  std::string said = outcome.sentence();
  for (std::size_t at; (at = said.find(ours)) != std::string::npos;)
    said.replace(at, ours.size(), checked.name.find(ours) == std::string::npos ? checked.name : "it");
  checked.trouble = said;
}

// What `gearhark unpack` says below its first line.
std::vector<std::string> left_out_of(const std::string& said) {
  std::vector<std::string> sentences;
  std::istringstream lines(said);
  std::string line;
  std::getline(lines, line);
  while (std::getline(lines, line)) sentences.push_back(line);
  return sentences;
}

}  // namespace

Bench::Bench(const WorkbenchSettings& settings) : settings_(settings) {
  limits_.memory = settings.child_memory;
  limits_.time = settings.child_time;
  // A program whose libraries lie in unusual places can't be confined.
  limits_.confined = run_child({"--version"}, folder_.path().string(), limits_).well();
  for (const char* kind : kinds) works_[kind].wishes = Json::object();
}

// Threads are asked to end together, then awaited without the lock, which they may still want.
Bench::~Bench() {
  std::vector<std::jthread> threads;  // declared before the lock, and so awaited after it
  const std::lock_guard lock(mutex_);
  threads = ending_threads();
}

std::vector<std::jthread> Bench::ending_threads() {
  std::vector<std::jthread> out = std::move(openers_);
  openers_.clear();
  for (auto& run : runs_) out.push_back(std::move(run->checking));
  for (auto& [kind, work] : works_) out.push_back(std::move(work.thread));
  for (auto& thread : out) thread.request_stop();
  return out;
}

Json Bench::job() {
  const std::lock_guard lock(mutex_);
  Json runs = Json::array(), works = Json::object();
  for (const auto& run : runs_) runs.push_back(run_json(*run));
  for (const auto& [kind, work] : works_) {
    const auto end = work.state == "running" ? Clock::now() : work.ended;
    works[kind] = {{"state", work.state},
                   {"number", work.number},
                   {"stage", work.stage},
                   {"sentence", work.sentence},
                   {"seconds", std::chrono::duration<double>(end - work.started).count()},
                   {"result", work.has_result},
                   {"report", work.state == "done" && fs::exists(work.folder / "report.html")},
                   {"wishes", work.wishes},
                   {"stale", work.has_result && work.revision != revision_of(kind)}};
  }
  return {{"car_problem", car_problem_},
          {"car_from", car_from_},
          {"runs", runs},
          {"work", works},
          {"kept_as", kept_as_}};
}

Answer Bench::put_car(const std::string& text, const std::string& speed, const std::string& gear) {
  // One at a time: the last one asked is the one kept.
  const std::lock_guard turn(car_turn_);
  if (!write(folder_ / "car.toml", text)) return disk_full();
  std::vector<std::string> words{"orders", "car.toml", "--json", "-"};
  if (!speed.empty()) words.push_back("--speed=" + speed);
  if (!gear.empty()) words.push_back("--gear=" + gear);
  ChildLimits quick = limits_;
  quick.time = std::chrono::seconds(20);
  auto outcome = run_child(words, folder_.path().string(), quick);
  std::string asked_wrongly;
  // Exit code 2: the car is right, the question is not.
  if (outcome.ending == ChildOutcome::Ending::exited && outcome.code == 2) {
    asked_wrongly = outcome.sentence();
    outcome = run_child({"orders", "car.toml", "--json", "-"}, folder_.path().string(), quick);
  }
  const std::lock_guard lock(mutex_);
  if (text != car_text_) ++car_revision_;
  car_text_ = text;
  car_problem_ = outcome.well() ? "" : outcome.sentence();
  orders_ = outcome.well() ? Json::parse(outcome.out, nullptr, false) : Json(nullptr);
  structure_ = structure_of(text);
  return {200,
          {{"problem", car_problem_},
           {"question_problem", asked_wrongly},
           {"orders", orders_},
           {"structure", structure_}}};
}

Answer Bench::car() {
  const std::lock_guard lock(mutex_);
  return {200,
          {{"text", car_text_}, {"problem", car_problem_}, {"orders", orders_}, {"structure", structure_}}};
}

std::optional<Answer> Bench::no_room(std::int64_t announced) {
  const std::lock_guard lock(mutex_);
  if (announced > settings_.largest_upload)
    return problem(413, fmt::format("This recording is larger than {} MB; cut it, or record shorter runs.",
                                    settings_.largest_upload >> 20));
  std::int64_t stored = announced;
  for (const auto& run : runs_) stored += run->stored;
  if (runs_.size() >= most_runs || stored > settings_.most_stored)
    return problem(507, "The bench is full; remove recordings that are not needed.");
  return std::nullopt;
}

std::unique_ptr<Upload> Bench::upload() {
  return std::make_unique<Upload>(folder_ / ("sound_" + random_token()), settings_.largest_upload);
}

namespace {

std::unique_ptr<BenchRun> run_from(const Upload& upload, const std::string& name, const std::string& set,
                                   const std::string& sent_by) {
  auto made = std::make_unique<BenchRun>();
  made->id = random_token();
  made->name = name.substr(0, 200);
  made->ending = known_ending(name);
  made->set = set == "after" ? "after" : "before";
  made->sent_by = sent_by;
  made->file = upload.file();
  made->bytes = made->stored = upload.bytes();
  return made;
}

}  // namespace

Answer Bench::add_run(Upload& upload, const std::string& name, const std::string& set,
                      const std::string& sent_by) {
  if (auto full = no_room(upload.bytes())) return *full;
  auto made = run_from(upload, name, set, sent_by);
  upload.keep();
  const std::lock_guard lock(mutex_);
  ++run_revisions_[made->set];
  made->checking = std::jthread(
      [this, id = made->id, file = made->file](const std::stop_token& stop) { check({id}, file, stop); });
  runs_.push_back(std::move(made));
  return {201, run_json(*runs_.back())};
}

Answer Bench::add_bundle(Upload& upload, const std::string& name, const std::string& set,
                         const std::string& sent_by) {
  if (auto full = no_room(2 * upload.bytes())) return *full;
  auto made = run_from(upload, name, set, sent_by);
  const fs::path folder = folder_ / ("bundle_" + made->id);
  std::error_code failed;
  fs::create_directory(folder, failed);
  if (!failed) fs::rename(made->file, folder / "bundle.zip", failed);
  if (failed) return disk_full();
  upload.keep();
  made->file = folder / "bundle.zip";
  made->ending = ".zip";
  const std::lock_guard lock(mutex_);
  ++run_revisions_[made->set];
  openers_.emplace_back(
      [this, id = made->id, folder](const std::stop_token& stop) { open_bundle(id, folder, stop); });
  runs_.push_back(std::move(made));
  return {201, run_json(*runs_.back())};
}

void Bench::open_bundle(const std::string& id, const fs::path& folder, const std::stop_token& stop) {
  std::string name;
  {
    const std::lock_guard lock(mutex_);
    if (const BenchRun* bundle = run(id)) name = bundle->name;
  }
  Opened opened = taken_apart(folder, name, stop);
  std::map<std::string, std::vector<std::string>>
      of_sound;  // the runs' IDs by the sound that they are cut from
  bool takes_car = false;
  {
    const std::lock_guard lock(mutex_);
    const auto at = std::find_if(runs_.begin(), runs_.end(), [&](const auto& one) { return one->id == id; });
    if (at != runs_.end() && !stop.stop_requested()) {
      if (opened.trouble.empty() && runs_.size() - 1 + opened.runs.size() > most_runs)
        opened.trouble = fmt::format("This road test has {} runs, more than there is room for on the bench.",
                                     opened.runs.size());
      if (!opened.trouble.empty()) {
        (*at)->state = RunState::unusable;
        (*at)->trouble = opened.trouble;
      } else {
        const std::unique_ptr<BenchRun> bundle = std::move(*at);
        runs_.erase(at);
        const std::vector<std::string> ids = lay_down(*bundle, opened, folder);
        for (std::size_t i = 0; i < ids.size(); ++i) of_sound[run(ids[i])->bundled].push_back(ids[i]);
        ++run_revisions_[bundle->set];
        takes_car = car_text_.empty() && !opened.car.empty();
        if (takes_car) car_from_ = name;
      }
    }
  }
  if (takes_car) put_car(opened.car, "", "");
  for (const auto& [sound, ids] : of_sound) check(ids, folder_ / ("sound_" + ids.front()), stop);
  std::error_code ignored;
  fs::remove_all(folder, ignored);
}

Bench::Opened Bench::taken_apart(const fs::path& folder, const std::string& name,
                                 const std::stop_token& stop) {
  const auto outcome = with_a_turn({"unpack", "bundle.zip", "."}, folder, stop);
  std::string said = outcome.sentence();
  for (std::size_t at; (at = said.find("bundle.zip")) != std::string::npos;)
    said.replace(at, 10, "this road test");
  if (!outcome.well()) return {{}, "", said, {}};
  const auto text = text_of_file((folder / "ROADTEST.toml").string(), "the road test");
  auto runs = text && !nests_deeply(*text) ? bundle_runs(*text) : std::nullopt;
  if (!runs || runs->empty()) return {{}, "", fmt::format("{} holds no run that can be used.", name), {}};
  const auto car = text_of_file((folder / "car.toml").string(), "the car file");
  return {std::move(*runs), car && car->size() <= largest_car ? *car : "", "", left_out_of(outcome.out)};
}

// Hard links again: each run goes its own way from here.
std::vector<std::string> Bench::lay_down(const BenchRun& bundle, const Opened& opened,
                                         const fs::path& folder) {
  std::vector<std::string> ids;
  std::map<std::string, bool> counted;
  for (const BundleRun& one : opened.runs) {
    auto made = std::make_unique<BenchRun>();
    made->id = random_token();
    made->bundled = one.sound;
    made->name = fmt::format("{}, run {}", bundle.name, ids.size() + 1);
    made->ending = known_ending(one.sound);
    made->set = bundle.set;
    made->sent_by = bundle.sent_by;
    made->notes = one.notes;
    made->file = folder_ / ("sound_" + made->id);
    std::error_code failed;
    fs::create_hard_link(folder / one.sound, made->file, failed);
    if (!failed) made->bytes = static_cast<std::int64_t>(fs::file_size(made->file, failed));
    if (!std::exchange(counted[one.sound], true)) made->stored = made->bytes;
    if (!failed && !one.log.empty()) {
      fs::create_hard_link(folder / one.log, made->log_file(), failed);
      made->notes.log = known_log(one.log);
      made->log_name = "the phone's satellites";
    }
    if (failed) {
      made->state = RunState::unusable;
      made->trouble = "This run could not be laid on the bench; the temporary folder may be full.";
    }
    if (ids.empty()) made->left_out = opened.left_out;
    ids.push_back(made->id);
    runs_.push_back(std::move(made));
  }
  return ids;
}

// Counters that only rise: their sum stays while nothing that the work rests on changes.
std::uint64_t Bench::revision_of(const std::string& kind) {
  if (kind == "plan") return car_revision_;
  return car_revision_ + run_revisions_["before"] + (kind == "compare" ? run_revisions_["after"] : 0);
}

BenchRun* Bench::run(const std::string& id) {
  for (const auto& run : runs_)
    if (run->id == id) return run.get();
  return nullptr;
}

ChildOutcome Bench::with_a_turn(const std::vector<std::string>& words, const fs::path& folder,
                                const std::stop_token& stop,
                                const std::function<void(const std::string&)>& on_line) {
  while (!turns_.try_acquire_for(std::chrono::milliseconds(50)))
    if (stop.stop_requested()) return {ChildOutcome::Ending::stopped, -1, "", ""};
  ChildLimits limits = limits_;
  // The casebook lies elsewhere, and no sound is decoded for it.
  limits.confined = limits.confined && words.front() != "case";
  ChildOutcome outcome = run_child(words, folder.string(), limits, stop, on_line);
  turns_.release();
  return outcome;
}

void Bench::check(const std::vector<std::string>& ids, const fs::path& file, const std::stop_token& stop) {
  const auto outcome = with_a_turn(
      {"check", file.filename().string(), "--outline", std::to_string(outline_parts), "--json", "-"},
      folder_.path(), stop);
  if (outcome.ending == ChildOutcome::Ending::stopped) return;
  const std::lock_guard lock(mutex_);
  for (const auto& id : ids)
    if (BenchRun* checked = run(id)) take_check(*checked, outcome, file.filename().string());
}

Answer Bench::change_run(const std::string& id, const Json& changes) {
  const std::lock_guard lock(mutex_);
  BenchRun* changing = run(id);
  if (!changing) return problem(404, "This recording is not on the bench any more.");
  const std::string set = changing->set;
  bool changed = false;
  if (const std::string wrong = change(*changing, changes, changed); !wrong.empty())
    return problem(400, fmt::format("This can't be the {} of a recording.", wrong));
  // A recording that changed sides changed both.
  for (const std::string& side : {set, changing->set}) run_revisions_[side] += changed ? 1 : 0;
  return {200, run_json(*changing)};
}

Answer Bench::remove_run(const std::string& id) {
  std::unique_ptr<BenchRun> removed;
  {
    const std::lock_guard lock(mutex_);
    const auto at = std::find_if(runs_.begin(), runs_.end(), [&](const auto& r) { return r->id == id; });
    if (at == runs_.end()) return problem(404, "This recording is not on the bench any more.");
    removed = std::move(*at);
    runs_.erase(at);
    ++run_revisions_[removed->set];
  }
  removed->checking.request_stop();
  std::error_code ignored;
  fs::remove(removed->file, ignored);
  fs::remove(removed->log_file(), ignored);
  return {200, Json::object()};
}

// Written beside and renamed: a road test that holds the log before stays with that one.
Answer Bench::add_log(const std::string& id, const std::string& name, const std::string& text) {
  const std::string ending(known_log(name));
  if (ending.empty()) return problem(415, "A speed log is a GPX, NMEA or CSV file, and its name says which.");
  const std::lock_guard lock(mutex_);
  BenchRun* of = run(id);
  if (!of) return problem(404, "This recording is not on the bench any more.");
  const fs::path beside = of->log_file().string() + "_new";
  std::error_code failed;
  if (!write(beside, text)) return disk_full();
  fs::rename(beside, of->log_file(), failed);
  if (failed) return disk_full();
  of->notes.log = ending;
  of->log_name = name.substr(0, 200);
  ++run_revisions_[of->set];
  return {200, run_json(*of)};
}

Answer Bench::clear() {
  std::vector<std::jthread> threads;  // awaited without the lock
  const std::lock_guard lock(mutex_);
  std::error_code ignored;
  threads = ending_threads();
  for (auto& run : runs_) {
    fs::remove(run->file, ignored);
    fs::remove(run->log_file(), ignored);
  }
  for (auto& [kind, work] : works_) {
    fs::remove_all(work.folder, ignored);
    work = Work{};
    work.wishes = Json::object();
  }
  runs_.clear();
  car_text_.clear();
  car_problem_.clear();
  kept_as_.clear();
  car_from_.clear();
  orders_ = structure_ = nullptr;
  ++car_revision_;
  return {200, Json::object()};
}

Json Bench::sent_by(const std::string& phone) {
  const std::lock_guard lock(mutex_);
  Json out = Json::array();
  for (const auto& run : runs_)
    if (run->sent_by == phone) out.push_back({{"name", run->name}, {"bytes", run->bytes}});
  return out;
}

// The recordings stand beside the road-test file as hard links: removing one from the bench does not pull it
// from under a child that reads it.
std::optional<Answer> Bench::write_road_test(const std::string& set, const std::string& name,
                                             const Work& work) {
  std::string text = "car = \"car.toml\"\n";
  int number = 0;
  for (const auto& run : runs_) {
    if (run->set != set) continue;
    ++number;
    const std::string called = fmt::format("Recording {} ({})", number, run->name);
    if (run->state == RunState::unusable) return problem(409, called + " can't be used; remove it first.");
    if (const auto what = missing(run->notes)) return problem(409, fmt::format("{}: {}.", called, *what));
    const std::string file = fmt::format("{}run{}", set == "after" ? "after_" : "", number);
    std::error_code failed;
    fs::create_hard_link(run->file, work.folder / (file + run->ending), failed);
    if (!failed && run->notes.speed_kind == "log")
      fs::create_hard_link(run->log_file(), work.folder / (file + run->notes.log), failed);
    if (failed) return disk_full();
    text += recording_text(run->notes, file, run->ending);
  }
  if (number == 0)
    return problem(409, set == "after" ? "There is no recording from after the repair yet; add one below."
                                       : "There is no recording yet; add one first.");
  if (!write(work.folder / name, text)) return disk_full();
  return std::nullopt;
}

// The child's words. What comes from the page stands behind "=" so that it can't be taken for an option.
std::optional<Answer> Bench::lay_out(const std::string& kind, const Json& wishes, Work& work,
                                     std::vector<std::string>& words) {
  if (car_text_.empty()) return problem(409, "There is no car yet; write it or pick one first.");
  if (!car_problem_.empty()) return problem(409, "The car file has a mistake; mend it first.");
  std::error_code failed;
  fs::create_directory(work.folder, failed);
  if (failed || !write(work.folder / "car.toml", car_text_)) return disk_full();
  const std::string part = text_of(wishes, "part"), fault = text_of(wishes, "fault");
  if (kind == "plan") {
    words = {"plan", "car.toml", "--json", "result.json", "--report", "report.html"};
    if (!part.empty()) words.push_back("--suspect=" + part);
    if (const std::string fastest = text_of(wishes, "fastest"); !fastest.empty())
      words.push_back("--fastest=" + fastest);
    return std::nullopt;
  }
  if (auto no = write_road_test("before", "ROADTEST.toml", work)) return no;
  if (kind == "diagnose")
    words = {"diagnose", "ROADTEST.toml", "--progress", "--json", "result.json", "--report", "report.html"};
  if (kind == "compare") {
    if (auto no = write_road_test("after", "AFTER.toml", work)) return no;
    words = {"compare", "ROADTEST.toml", "AFTER.toml", "--json", "result.json", "--report", "report.html"};
  }
  if (kind == "confirm") {
    if (part.empty()) return problem(400, "Say which part is to be confirmed.");
    words = {"confirm",  "ROADTEST.toml", "--json",           "result.json",
             "--report", "report.html",   "--suspect=" + part};
  }
  if (kind == "listen") {
    words = {"listen", "ROADTEST.toml", "--json", "result.json", "--out", "sound.wav"};
    if (!part.empty()) words.push_back("--part=" + part);
    if (wishes.value("half_speed", false)) words.push_back("--half-speed");
  }
  if (!fault.empty() && (kind == "confirm" || kind == "listen")) words.push_back("--fault=" + fault);
  return std::nullopt;
}

Answer Bench::start(const std::string& kind, const Json& wishes) {
  std::jthread before;  // joined when this returns, without the lock
  const std::lock_guard lock(mutex_);
  const auto at = works_.find(kind);
  if (at == works_.end() || !wishes.is_object()) return problem(404, "There is no such work.");
  Work next;
  next.wishes = Json::object();
  next.number = ++works_begun_;
  next.folder = folder_ / fmt::format("work_{}", next.number);
  for (const char* key : {"part", "fault", "fastest"})
    if (wishes.contains(key)) next.wishes[key] = text_of(wishes, key);
  if (wishes.value("half_speed", false)) next.wishes["half_speed"] = true;
  next.revision = revision_of(kind);
  std::vector<std::string> words;
  if (auto no = lay_out(kind, next.wishes, next, words)) {
    std::error_code ignored;
    fs::remove_all(next.folder, ignored);
    return *no;
  }
  Work& work = at->second;
  before = std::move(work.thread);
  before.request_stop();
  std::error_code ignored;
  fs::remove_all(work.folder, ignored);
  next.state = "running";
  next.stage = "waiting for its turn";
  next.started = Clock::now();
  work = std::move(next);
  work.thread =
      std::jthread([this, kind, number = work.number, folder = work.folder,
                    words](const std::stop_token& stop) { carry_out(kind, number, folder, words, stop); });
  return {202, {{"number", work.number}}};
}

void Bench::carry_out(const std::string& kind, int number, const fs::path& folder,
                      const std::vector<std::string>& words, const std::stop_token& stop) {
  const auto in_turn = [&](auto&& change) {
    const std::lock_guard lock(mutex_);
    if (Work& work = works_[kind]; work.number == number) change(work);
  };
  const auto outcome = with_a_turn(words, folder, stop, [&](const std::string& line) {
    in_turn([&](Work& work) {
      if (!line.ends_with(" ...")) return;
      work.stage = line.substr(0, line.size() - 4);
      work.has_result = fs::exists(folder / "result.json");
    });
  });
  in_turn([&](Work& work) {
    const bool stopped = outcome.ending == ChildOutcome::Ending::stopped;
    work.state = stopped ? "stopped" : outcome.well() ? "done" : "failed";
    work.has_result = work.has_result || (outcome.well() && fs::exists(folder / "result.json"));
    work.stage.clear();
    work.sentence = outcome.well() ? "" : outcome.sentence();
    work.ended = Clock::now();
  });
}

Answer Bench::stop(const std::string& kind) {
  const std::lock_guard lock(mutex_);
  const auto at = works_.find(kind);
  if (at == works_.end()) return problem(404, "There is no such work.");
  at->second.thread.request_stop();
  return {202, Json::object()};
}

std::optional<Bench::Kept> Bench::run_sound(const std::string& id) {
  const std::lock_guard lock(mutex_);
  const BenchRun* asked = run(id);
  if (!asked || asked->state != RunState::ready) return std::nullopt;
  return Kept{asked->file, std::string(media_type(asked->ending))};
}

std::optional<std::string> Bench::run_check(const std::string& id) {
  const std::lock_guard lock(mutex_);
  const BenchRun* asked = run(id);
  if (!asked || asked->check.empty()) return std::nullopt;
  return asked->check;
}

std::optional<Bench::Kept> Bench::result(const std::string& kind, const std::string& form) {
  const std::lock_guard lock(mutex_);
  const auto at = works_.find(kind);
  if (at == works_.end() || !at->second.has_result) return std::nullopt;
  const fs::path& folder = at->second.folder;
  if (form == "json") return Kept{folder / "result.json", "application/json"};
  if (at->second.state != "done") return std::nullopt;
  if (form == "html" && fs::exists(folder / "report.html"))
    return Kept{folder / "report.html", "text/html; charset=utf-8"};
  if (form == "wav" && fs::exists(folder / "sound.wav")) return Kept{folder / "sound.wav", "audio/wav"};
  return std::nullopt;
}

std::vector<std::string> Bench::case_words(std::vector<std::string> words) const {
  words.insert(words.begin(), "case");
  if (!settings_.casebook.empty()) words.push_back("--casebook=" + settings_.casebook);
  return words;
}

Answer Bench::cases() {
  const auto outcome = with_a_turn(case_words({"list", "--json", "-"}), folder_.path(), {});
  // No casebook yet is no error of anybody's.
  if (!outcome.well()) return {200, {{"cases", Json::array()}, {"problem", outcome.sentence()}}};
  return {200, Json::parse(outcome.out, nullptr, false)};
}

Answer Bench::keep_case(const std::string& title, const std::string& note) {
  if (title.empty() || title.size() > 500 || note.size() > 5000)
    return problem(400, "Give the case a short title.");
  fs::path folder;
  std::vector<std::string> papers;
  std::string files;
  {
    const std::lock_guard lock(mutex_);
    const Work& diagnosis = works_["diagnose"];
    if (diagnosis.state != "done" || diagnosis.revision != revision_of("diagnose"))
      return problem(409, "There is no verdict on what lies on the bench; diagnose first.");
    folder = diagnosis.folder;
    int number = 0;
    for (const auto& run : runs_)
      if (run->set == "before")
        files += fmt::format("{}run{}{}: {}", number ? "; " : "", number + 1, run->ending, run->name),
            ++number;
    papers = {"ROADTEST.toml", "result.json"};
    const Work& comparison = works_["compare"];
    if (comparison.state == "done" && comparison.revision == revision_of("compare"))
      papers.push_back((comparison.folder / "result.json").string());
  }
  auto words = case_words({"add", "--note=" + (note.empty() ? "" : note + "\n") + files});
  words.insert(words.end(), {"--", title});
  words.insert(words.end(), papers.begin(), papers.end());
  const auto outcome = with_a_turn(words, folder, {});
  if (!outcome.well()) return problem(409, outcome.sentence());
  const std::lock_guard lock(mutex_);
  kept_as_ = outcome.out.substr(0, outcome.out.find('\n'));
  return {201, {{"said", kept_as_}}};
}

Answer Bench::record_found(std::int64_t id, const std::string& part, const std::string& fault,
                           const std::string& note) {
  if (part.empty()) return problem(400, "Say which part it was, or that nothing was wrong.");
  std::vector<std::string> words = case_words({"found"});
  // An option with nothing behind its "=" would take the next word for its value.
  if (!note.empty()) words.push_back("--note=" + note);
  if (!fault.empty()) words.push_back("--fault=" + fault);
  words.insert(words.end(), {"--", std::to_string(id), part});
  const auto outcome = with_a_turn(words, folder_.path(), {});
  if (!outcome.well()) return problem(409, outcome.sentence());
  return {200, {{"said", outcome.out.substr(0, outcome.out.find('\n'))}}};
}

}  // namespace gearhark::workbench
