#include "gearhark/repair/casebook.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>
#include <sqlite3.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <filesystem>
#include <functional>
#include <map>
#include <nlohmann/json.hpp>
#include <random>

namespace gearhark {
namespace {

constexpr const char* nothing_wrong_words = "nothing wrong";

using Json = nlohmann::json;

constexpr int our_mark = 0x47656172;  // application_id of a casebook: "Gear"
constexpr int patience_ms = 10000;

// Step i brings a book of version i to version i + 1. Never change one that was released: add another.
constexpr std::array steps = {
    "CREATE TABLE cases (id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, title TEXT NOT NULL,"
    " note TEXT NOT NULL, opened TEXT NOT NULL);"
    "CREATE TABLE recordings (case_id INTEGER NOT NULL REFERENCES cases, file TEXT NOT NULL,"
    " sha256 TEXT NOT NULL, bytes INTEGER NOT NULL);"
    "CREATE TABLE papers (case_id INTEGER NOT NULL REFERENCES cases, kind TEXT NOT NULL, json TEXT NOT NULL,"
    " program TEXT NOT NULL, filed TEXT NOT NULL);",
    "CREATE TABLE findings (case_id INTEGER NOT NULL REFERENCES cases, part TEXT NOT NULL,"
    " fault TEXT NOT NULL, note TEXT NOT NULL, filed TEXT NOT NULL);"};

// Thrown inside the casebook only; every public function turns it into a Result.
struct Trouble {
  Error error;
};

std::string now() {
  return fmt::format("{:%Y-%m-%dT%H:%M:%SZ}",
                     fmt::gmtime(std::chrono::system_clock::to_time_t(std::chrono::system_clock::now())));
}

std::string new_key() {
  std::random_device random;
  return fmt::format("{:08x}{:08x}{:08x}{:08x}", random(), random(), random(), random());
}

}  // namespace

struct Casebook::Book {
  std::string path;
  sqlite3* db = nullptr;

  ~Book() { sqlite3_close(db); }

  [[noreturn]] void fail(int code) const {
    const int kind = code & 0xff;
    std::string sentence;
    if (kind == SQLITE_NOTADB || kind == SQLITE_CORRUPT)
      sentence =
          "this is no casebook, or it is damaged; it was left as it is: put back a copy, or name another "
          "file "
          "with --casebook";
    else if (kind == SQLITE_BUSY || kind == SQLITE_LOCKED)
      sentence = "another program holds the casebook; try again when it is done";
    else if (kind == SQLITE_FULL || kind == SQLITE_IOERR)
      sentence = fmt::format(
          "the casebook can't be written ({}); what was in it is still there: free some disk space and "
          "try again",
          sqlite3_errstr(code));
    else
      sentence = fmt::format("the casebook can't be used ({}); check the name and who may write there",
                             sqlite3_errmsg(db));
    throw Trouble{Error{fmt::format("{}: {}", path, sentence)}};
  }
  void check(int code) const {
    if (code != SQLITE_OK && code != SQLITE_DONE && code != SQLITE_ROW) fail(code);
  }
  void run(const std::string& sql) const { check(sqlite3_exec(db, sql.c_str(), nullptr, nullptr, nullptr)); }
};

namespace {

class Statement {
 public:
  template <class Book>
  Statement(const Book& book, const char* sql)
      : db_(book.db), fail_([&book](int code) { book.check(code); }) {
    fail_(sqlite3_prepare_v2(db_, sql, -1, &statement_, nullptr));
  }
  ~Statement() { sqlite3_finalize(statement_); }
  Statement(const Statement&) = delete;
  Statement& operator=(const Statement&) = delete;

  Statement& with(const std::string& text) {
    fail_(sqlite3_bind_text64(statement_, ++bound_, text.data(), text.size(), SQLITE_TRANSIENT, SQLITE_UTF8));
    return *this;
  }
  Statement& with(std::int64_t number) {
    fail_(sqlite3_bind_int64(statement_, ++bound_, number));
    return *this;
  }
  // False: no more rows.
  bool step() {
    const int code = sqlite3_step(statement_);
    fail_(code);
    return code == SQLITE_ROW;
  }
  [[nodiscard]] std::string text(int column) const {
    const auto* bytes = sqlite3_column_text(statement_, column);
    return bytes ? std::string(reinterpret_cast<const char*>(bytes),
                               static_cast<std::size_t>(sqlite3_column_bytes(statement_, column)))
                 : std::string();
  }
  [[nodiscard]] std::int64_t number(int column) const { return sqlite3_column_int64(statement_, column); }

 private:
  sqlite3* db_;
  std::function<void(int)> fail_;
  sqlite3_stmt* statement_ = nullptr;
  int bound_ = 0;
};

template <class Book>
std::int64_t pragma(const Book& book, const char* sql) {
  Statement s(book, sql);
  return s.step() ? s.number(0) : 0;
}

// All or nothing: undone unless kept.
template <class Book>
class Change {
 public:
  explicit Change(const Book& book) : book_(book) { book_.run("BEGIN IMMEDIATE"); }
  ~Change() {
    if (!kept_) sqlite3_exec(book_.db, "ROLLBACK", nullptr, nullptr, nullptr);
  }
  Change(const Change&) = delete;
  Change& operator=(const Change&) = delete;
  void keep() {
    book_.run("COMMIT");
    kept_ = true;
  }

 private:
  const Book& book_;
  bool kept_ = false;
};

template <class Book>
void bring_up_to_date(const Book& book) {
  Change change(book);
  const auto version = static_cast<std::size_t>(pragma(book, "PRAGMA user_version"));
  if (version > steps.size())
    throw Trouble{
        Error{fmt::format("{}: the casebook was written by a newer gearhark (version {} of its layout, this "
                          "program knows {}); use that one",
                          book.path, version, steps.size())}};
  if (version == steps.size()) return;
  for (std::size_t i = version; i < steps.size(); ++i) book.run(steps[i]);
  book.run(fmt::format("PRAGMA application_id = {}; PRAGMA user_version = {}", our_mark, steps.size()));
  change.keep();
}

// A file of another program must not be written to.
template <class Book>
void recognise(const Book& book) {
  const bool empty = pragma(book, "SELECT count(*) FROM sqlite_master") == 0;
  if (!empty && pragma(book, "PRAGMA application_id") != our_mark) book.fail(SQLITE_NOTADB);
  Statement check(book, "PRAGMA quick_check(1)");
  if (check.step() && check.text(0) != "ok") book.fail(SQLITE_CORRUPT);
}

template <class Book>
void insert_contents(const Book& book, std::int64_t id, const Case& c, bool as_they_are) {
  const std::string time = now();
  for (const KeptRecording& r : c.recordings)
    Statement(book, "INSERT INTO recordings VALUES (?,?,?,?)")
        .with(id)
        .with(r.file)
        .with(r.sha256)
        .with(r.bytes)
        .step();
  for (const KeptPaper& p : c.papers)
    Statement(book, "INSERT INTO papers VALUES (?,?,?,?,?)")
        .with(id)
        .with(p.kind)
        .with(p.json)
        .with(p.program)
        .with(as_they_are ? p.filed : time)
        .step();
  for (const Finding& f : c.findings)
    Statement(book, "INSERT INTO findings VALUES (?,?,?,?,?)")
        .with(id)
        .with(f.part)
        .with(f.fault)
        .with(f.note)
        .with(as_they_are ? f.filed : time)
        .step();
}

template <class Book>
std::int64_t insert_case(const Book& book, const Case& c, bool as_it_is) {
  Statement(book, "INSERT INTO cases (key, title, note, opened) VALUES (?,?,?,?)")
      .with(as_it_is ? c.key : new_key())
      .with(c.title)
      .with(c.note)
      .with(as_it_is ? c.opened : now())
      .step();
  const std::int64_t id = sqlite3_last_insert_rowid(book.db);
  insert_contents(book, id, c, as_it_is);
  return id;
}

template <class Book>
void read_contents(const Book& book, Case& c) {
  Statement r(book, "SELECT file, sha256, bytes FROM recordings WHERE case_id = ? ORDER BY rowid");
  for (r.with(c.id); r.step();) c.recordings.push_back({r.text(0), r.text(1), r.number(2)});
  Statement p(book, "SELECT kind, json, program, filed FROM papers WHERE case_id = ? ORDER BY rowid");
  for (p.with(c.id); p.step();) c.papers.push_back({p.text(0), p.text(1), p.text(2), p.text(3)});
  Statement f(book, "SELECT part, fault, note, filed FROM findings WHERE case_id = ? ORDER BY rowid");
  for (f.with(c.id); f.step();) c.findings.push_back({f.text(0), f.text(1), f.text(2), f.text(3)});
}

// All, or the one of that number. One moment of the book, though others may write to it meanwhile.
template <class Book>
std::vector<Case> read_cases(const Book& book, std::optional<std::int64_t> id) {
  book.run("BEGIN");
  std::vector<Case> out;
  Statement s(book, id ? "SELECT id, key, title, note, opened FROM cases WHERE id = ?"
                       : "SELECT id, key, title, note, opened FROM cases ORDER BY id");
  if (id) s.with(*id);
  while (s.step()) {
    Case c;
    c.id = s.number(0);
    c.key = s.text(1);
    c.title = s.text(2);
    c.note = s.text(3);
    c.opened = s.text(4);
    out.push_back(std::move(c));
  }
  for (Case& c : out) read_contents(book, c);
  book.run("COMMIT");
  return out;
}

template <class T, class Work>
Result<T> guarded(const Work& work) {
  try {
    return work();
  } catch (const Trouble& t) {
    return t.error;
  }
}

Error no_such_case(const std::string& path, std::int64_t id) {
  return Error{fmt::format("{}: there is no case {}; gearhark case list shows those there are", path, id)};
}

// -- the tally --

const KeptPaper* last_diagnosis(const Case& c) {
  const auto found = std::find_if(c.papers.rbegin(), c.papers.rend(),
                                  [](const KeptPaper& p) { return p.kind == "diagnosis"; });
  return found == c.papers.rend() ? nullptr : &*found;
}

// Place of the part among the suspects; parts that can't be told from one share its place. -1: not among
// them.
int place_of_part(const Json& diagnosis, const std::string& part) {
  int place = 0;
  for (const Json& s : diagnosis.value("suspects", Json::array())) {
    const auto twins = s.value("cannot_be_told_from", std::vector<std::string>{});
    if (s.value("part", "") == part || std::find(twins.begin(), twins.end(), part) != twins.end())
      return place;
    ++place;
  }
  return -1;
}

void count(TallyRow& row, const Finding& finding, const Json& diagnosis) {
  const std::string verdict = diagnosis.value("verdict", "");
  ++row.cases;
  row.unsure += verdict == "can't tell";
  if (finding.part.empty()) {
    row.first += verdict == "no fault heard";
    row.first_three += verdict == "no fault heard";
    return;
  }
  row.missed += verdict == "no fault heard";
  const int place = place_of_part(diagnosis, finding.part);
  row.first += place == 0;
  row.first_three += place >= 0 && place < 3;
}

std::vector<TallyRow> tally_of(const std::vector<Case>& cases) {
  std::map<std::string, TallyRow> rows;
  for (const Case& c : cases) {
    const KeptPaper* said = last_diagnosis(c);
    if (!said || c.findings.empty()) continue;
    const Json diagnosis = Json::parse(said->json, nullptr, false);
    if (!diagnosis.is_object()) continue;
    const Finding& finding = c.findings.back();
    const std::string kind = finding.part.empty()    ? nothing_wrong_words
                             : finding.fault.empty() ? "not said"
                                                     : finding.fault;
    TallyRow row = rows.contains(kind) ? rows.at(kind) : TallyRow{};
    row.found = kind;
    try {
      count(row, finding, diagnosis);
    } catch (const Json::exception&) {
      continue;  // an imported paper that calls itself a diagnosis and is none
    }
    rows[kind] = row;
  }
  std::vector<TallyRow> out;
  for (const auto& [kind, row] : rows) out.push_back(row);
  return out;
}

}  // namespace

Casebook::Casebook(std::unique_ptr<Book> book) : book_(std::move(book)) {}
Casebook::~Casebook() = default;
Casebook::Casebook(Casebook&&) noexcept = default;
Casebook& Casebook::operator=(Casebook&&) noexcept = default;

Result<Casebook> Casebook::open(const std::string& path, IfMissing if_missing) {
  std::error_code ignored;
  if (if_missing == IfMissing::fail && !std::filesystem::exists(path, ignored))
    return Error{fmt::format("{}: there is no casebook here yet; gearhark case add starts one", path)};
  if (if_missing == IfMissing::create && std::filesystem::path(path).has_parent_path())
    std::filesystem::create_directories(std::filesystem::path(path).parent_path(), ignored);
  auto book = std::make_unique<Book>();
  book->path = path;
  return guarded<Casebook>([&]() -> Result<Casebook> {
    book->check(
        sqlite3_open_v2(path.c_str(), &book->db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, nullptr));
    sqlite3_busy_timeout(book->db, patience_ms);
    // The journal is deleted only after everything is on the disk; foreign keys keep parts of no case out.
    book->run("PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON");
    recognise(*book);
    bring_up_to_date(*book);
    return Casebook(std::move(book));
  });
}

Result<std::int64_t> Casebook::add(const Case& entry) {
  return guarded<std::int64_t>([&]() -> Result<std::int64_t> {
    Change change(*book_);
    const std::int64_t id = insert_case(*book_, entry, false);
    change.keep();
    return id;
  });
}

Result<std::int64_t> Casebook::put(std::int64_t id, const Case& more) {
  return guarded<std::int64_t>([&]() -> Result<std::int64_t> {
    Change change(*book_);
    Statement known(*book_, "SELECT 1 FROM cases WHERE id = ?");
    if (!known.with(id).step()) return no_such_case(book_->path, id);
    insert_contents(*book_, id, more, false);
    change.keep();
    return id;
  });
}

Result<int> Casebook::import(const std::vector<Case>& cases) {
  return guarded<int>([&]() -> Result<int> {
    Change change(*book_);
    int fresh = 0;
    for (const Case& c : cases) {
      Statement known(*book_, "SELECT 1 FROM cases WHERE key = ?");
      if (known.with(c.key).step()) continue;
      insert_case(*book_, c, true);
      ++fresh;
    }
    change.keep();
    return fresh;
  });
}

Result<std::vector<Case>> Casebook::all() const {
  return guarded<std::vector<Case>>([&]() -> Result<std::vector<Case>> { return read_cases(*book_, {}); });
}

Result<Case> Casebook::one(std::int64_t id) const {
  return guarded<Case>([&]() -> Result<Case> {
    std::vector<Case> found = read_cases(*book_, id);
    if (found.empty()) return no_such_case(book_->path, id);
    return std::move(found.front());
  });
}

Result<std::vector<TallyRow>> Casebook::tally() const {
  const auto cases = all();
  if (!cases) return cases.error();
  return tally_of(*cases);
}

Result<Experience> experience_of(const std::vector<TallyRow>& tally, const std::string& file) {
  constexpr int enough = 20;
  std::map<Fault, int> found;
  int nothing_wrong = 0, all = 0;
  for (const TallyRow& row : tally) {
    const auto fault = fault_from_text(row.found);
    if (fault) found[*fault] += row.cases;
    if (row.found == nothing_wrong_words) nothing_wrong += row.cases;
    if (fault || row.found == nothing_wrong_words) all += row.cases;
  }
  if (all < enough)
    return Error{fmt::format(
        "{}: {} teardown findings with a diagnosis are too few to learn from; {} are needed, so leave "
        "--experience out until then",
        file, all, enough)};
  return experience_from(found, nothing_wrong);
}

Result<std::string> kind_of_paper(const std::string& json, const std::string& file) {
  const Json parsed = Json::parse(json, nullptr, false);
  const Json format = parsed.is_object() ? parsed.value("format", Json()) : Json();
  for (const char* kind : {"diagnosis", "comparison", "decision", "inspection", "swap"})
    if (format == fmt::format("gearhark {}", kind)) return std::string(kind);
  return Error{fmt::format(
      "{}: this is not a result of gearhark; keep what diagnose, compare, decide, inspect or swap "
      "wrote with --json FILE",
      file)};
}

}  // namespace gearhark
