// The casebook as a shop uses it, and what happens to it when things go wrong: for real, with the built
// program.
#include <catch2/catch.hpp>
#include <chrono>
#include <csignal>
#include <nlohmann/json.hpp>
#include <thread>

#include "program.hpp"

using namespace gearhark;
using Catch::Contains;
using nlohmann::json;

namespace {

std::string diagnosis(const std::string& first, const std::string& verdict = "fault heard") {
  const json d{{"format", "gearhark diagnosis"},
               {"version", 1},
               {"conformance", 7},
               {"verdict", verdict},
               {"suspects",
                {{{"part", first}, {"probability", 0.8}, {"cannot_be_told_from", {"twin"}}},
                 {{"part", "other"}, {"probability", 0.1}}}}};
  return d.dump();
}

std::size_t cases_in(const std::string& book) {
  const Ran ran = gearhark_run("case list --json - --casebook " + book);
  INFO(ran.complaint);
  REQUIRE(ran.code == 0);
  return json::parse(ran.out)["cases"].size();
}

// An export of many cases, some 30 MB: long enough in the writing to be caught at it.
std::string big_export(const Folder& folder, int cases, std::size_t note) {
  json list = json::array();
  for (int i = 0; i < cases; ++i)
    list.push_back({{"key", "key" + std::to_string(i)},
                    {"title", "t"},
                    {"note", std::string(note, 'x')},
                    {"opened", "2026-01-01T00:00:00Z"},
                    {"recordings", json::array()},
                    {"papers", json::array()},
                    {"findings", json::array()}});
  return folder.write("big.json",
                      json{{"format", "gearhark casebook"}, {"version", 1}, {"cases", list}}.dump());
}

void one_clear_sentence(const Ran& ran, const std::string& says) {
  INFO(ran.complaint);
  CHECK(ran.code == 1);
  CHECK(ran.one_sentence());
  CHECK_THAT(ran.complaint, Contains(says));
}

}  // namespace

TEST_CASE("a case is opened, filled, told what was found, shown, tallied, and goes from book to book") {
  const Folder folder;
  const std::string book = " --casebook " + (folder / "deep/book.sqlite"),
                    paper = folder.write("d.json", diagnosis("pinion_head_bearing")),
                    sound = folder.write("a.wav", "abc");
  CHECK_THAT(gearhark_run("case add 'Heron, growl' " + paper + " " + sound + book).out,
             Contains("Case 1: 1 recordings"));
  CHECK(gearhark_run("case add 'Healthy' " + folder.write("e.json", diagnosis("x", "no fault heard")) + book)
            .code == 0);
  CHECK(gearhark_run("case put 1 " + sound + book).code == 0);
  CHECK(gearhark_run("case found 1 twin --fault 'outer race' --note spalled" + book).code == 0);
  CHECK(gearhark_run("case found 2 other --fault 'outer race'" + book).code == 0);
  const Ran shown = gearhark_run("case show 1" + book);
  CHECK_THAT(shown.out, Contains("SHA-256 ba7816bf8f01cfea") && Contains("(conformance") &&
                            Contains("pinion_head_bearing 80 %") && Contains("twin, outer race: spalled"));
  const Ran tally = gearhark_run("case tally --json -" + book);
  CHECK(schema_complaint("tally", tally.out) == "");
  const json row = json::parse(tally.out)["rows"][0];
  CHECK(row["found"] == "outer race");
  CHECK(row["cases"] == 2);
  CHECK(row["first"] == 1);
  CHECK(row["first_three"] == 2);
  CHECK(row["missed"] == 1);

  const std::string file = folder / "export.json", other = " --casebook " + (folder / "other.sqlite");
  CHECK(gearhark_run("case export " + file + book).code == 0);
  CHECK(schema_complaint("casebook", contents(file)) == "");
  CHECK_THAT(gearhark_run("case import " + file + other).out, Contains("2 of 2 cases were new"));
  CHECK_THAT(gearhark_run("case import " + file + other).out, Contains("0 of 2 cases were new"));
  CHECK(gearhark_run("case list" + other).out == gearhark_run("case list" + book).out);
  CHECK_THAT(gearhark_run("case list" + book).out,
             Contains("Heron, growl") && Contains("found twin, outer race"));
}

TEST_CASE("what can't be kept or shown is one sentence, and nothing is half kept") {
  const Folder folder;
  const std::string book = " --casebook " + (folder / "book.sqlite");
  one_clear_sentence(gearhark_run("case list" + book), "no casebook here yet");
  CHECK(folder.files() == 0);
  one_clear_sentence(gearhark_run("case add t none.wav" + book), "none.wav");
  one_clear_sentence(gearhark_run("case add t " + folder.write("x.json", "{}") + book),
                     "not a result of gearhark");
  one_clear_sentence(gearhark_run("case add t " + folder.write("y.json", "{\"format\":5}") + book),
                     "not a result of gearhark");
  CHECK(gearhark_run("case add t" + book).code == 0);
  one_clear_sentence(gearhark_run("case show 9" + book), "no case 9");
  one_clear_sentence(gearhark_run("case found 9 part" + book), "no case 9");
  one_clear_sentence(gearhark_run("case import " + folder.write("y.json", "[]") + book),
                     "no casebook export");
  CHECK(gearhark_run("case found 1 part --fault loud" + book).code == 2);
  CHECK(cases_in(folder / "book.sqlite") == 1);
}

TEST_CASE("two programs write to one casebook at once and nothing is lost") {
  const Folder folder;
  const std::string book = folder / "book.sqlite", loop = "for i in 1 2 3 4 5 6 7 8; do \"" GEARHARK_PROGRAM
                                                          "\" case add t --casebook " +
                                                          book + " >/dev/null || exit 1; done";
  std::string both = "( " + loop + " ) & one=$!; ( " + loop + " ) & two=$!; wait $one && wait $two";
  CHECK(std::system(both.c_str()) == 0);
  CHECK(cases_in(book) == 16);
}

TEST_CASE("a program killed while it writes leaves the book as it was before") {
  const Folder folder;
  const std::string book = folder / "book.sqlite", big = big_export(folder, 3000, 10000);
  REQUIRE(gearhark_run("case add first --casebook " + book).code == 0);
  for (const int after_ms : {0, 5, 20}) {
    const pid_t child = ::fork();
    if (child == 0) {
      ::execl(GEARHARK_PROGRAM, "gearhark", "case", "import", big.c_str(), "--casebook", book.c_str(),
              nullptr);
      ::_exit(127);
    }
    // A journal beside the book: it is being written to.
    bool writing = false;
    for (int i = 0; i < 30000 && !writing; ++i) {
      writing = std::filesystem::exists(book + "-journal");
      std::this_thread::sleep_for(std::chrono::milliseconds(writing ? after_ms : 1));
    }
    ::kill(child, SIGKILL);
    ::waitpid(child, nullptr, 0);
    CHECK(writing);
    const std::size_t cases = cases_in(book);
    CHECK((cases == 1 || cases == 3001));
    if (cases == 3001) break;  // it was done before the blow
  }
  CHECK(gearhark_run("case add last --casebook " + book).code == 0);
}

TEST_CASE("a killed writer's journal is rolled back by the next program") {
  const Folder folder;
  const std::string book = folder / "book.sqlite";
  REQUIRE(gearhark_run("case add first --casebook " + book).code == 0);
  // A hot journal for certain: a writer of 40 MB with a cache too small for it spills into the book, and is
  // killed.
  const std::string script =
      "import sqlite3,os,signal,sys\n"
      "d=sqlite3.connect(sys.argv[1],isolation_level=None)\n"
      "d.execute('PRAGMA cache_size=10'); d.execute('BEGIN IMMEDIATE')\n"
      "d.execute('DELETE FROM cases')\n"
      "for i in range(200): d.execute(\"INSERT INTO cases (key,title,note,opened) VALUES "
      "(?,'t',?,'o')\",(str(i),'x'*20000))\n"
      "assert os.path.getsize(sys.argv[1]+'-journal')>0\n"
      "os.kill(os.getpid(),signal.SIGKILL)\n";
  const std::string file = folder.write("writer.py", script);
  CHECK(std::system(("python3 " + file + " " + book + " 2>/dev/null").c_str()) != 0);
  REQUIRE(std::filesystem::exists(book + "-journal"));
  CHECK(std::filesystem::file_size(book) > 100000);
  CHECK(cases_in(book) == 1);
  CHECK_THAT(gearhark_run("case show 1 --casebook " + book).out, Contains("first"));
}

TEST_CASE("on a full disk the change is refused and the book keeps what it had") {
  const Folder folder;
  const std::string book = folder / "book.sqlite", big = big_export(folder, 300, 10000);
  REQUIRE(gearhark_run("case add first --casebook " + book).code == 0);
  // The system refuses every write beyond 200 blocks of 1024 bytes, as a full disk would.
  const std::string out = folder / "out", err = folder / "err";
  const int status =
      std::system(("bash -c \"trap '' XFSZ; ulimit -f 200; '" GEARHARK_PROGRAM "' case import " + big +
                   " --casebook " + book + "\" >" + out + " 2>" + err)
                      .c_str());
  one_clear_sentence({WEXITSTATUS(status), contents(out), contents(err)}, "free some disk space");
  CHECK(cases_in(book) == 1);
  CHECK(gearhark_run("case import " + big + " --casebook " + book).code == 0);
  CHECK(cases_in(book) == 301);
}

TEST_CASE("a damaged book, another program's file and a newer book are left alone") {
  const Folder folder;
  const std::string book = folder / "book.sqlite";
  REQUIRE(gearhark_run("case add first --casebook " + book).code == 0);
  const std::string whole = contents(book);
  std::string damaged = whole;
  std::fill(damaged.begin() + 4096, damaged.begin() + 8192, 'x');
  for (const std::string& bytes :
       {std::string(5000, 'x'), damaged, std::string("SQLite format 3\0and no more", 27)}) {
    const std::string file = folder.write("bad.sqlite", bytes);
    for (const std::string words : {"case list", "case add t"})
      one_clear_sentence(gearhark_run(words + " --casebook " + file), "no casebook, or it is damaged");
    CHECK(contents(file) == bytes);
  }
  const std::string foreign = folder / "foreign.sqlite";
  REQUIRE(std::system(("python3 -c \"import sqlite3; d=sqlite3.connect('" + foreign +
                       "'); d.execute('create table t (a)'); d.commit()\"")
                          .c_str()) == 0);
  one_clear_sentence(gearhark_run("case add t --casebook " + foreign), "no casebook");
  const std::string newer = folder.write("newer.sqlite", whole);
  REQUIRE(std::system(("python3 -c \"import sqlite3; d=sqlite3.connect('" + newer +
                       "'); d.execute('PRAGMA user_version = 99'); d.commit()\"")
                          .c_str()) == 0);
  one_clear_sentence(gearhark_run("case list --casebook " + newer), "newer gearhark");
  one_clear_sentence(gearhark_run("case list --casebook " + (folder / "")), "casebook");
}

TEST_CASE("a book of the first layout is brought up to date and keeps its cases") {
  const Folder folder;
  const std::string book = folder / "old.sqlite";
  const std::string script =
      "import sqlite3,sys\n"
      "d=sqlite3.connect(sys.argv[1])\n"
      "d.executescript('''CREATE TABLE cases (id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, title TEXT "
      "NOT NULL,"
      " note TEXT NOT NULL, opened TEXT NOT NULL);"
      "CREATE TABLE recordings (case_id INTEGER NOT NULL REFERENCES cases, file TEXT NOT NULL, sha256 TEXT "
      "NOT NULL,"
      " bytes INTEGER NOT NULL);"
      "CREATE TABLE papers (case_id INTEGER NOT NULL REFERENCES cases, kind TEXT NOT NULL, json TEXT NOT "
      "NULL,"
      " program TEXT NOT NULL, filed TEXT NOT NULL);"
      "INSERT INTO cases VALUES (7,'k','an old case','','2020-01-01T00:00:00Z');"
      "PRAGMA application_id = 1197826418; PRAGMA user_version = 1''')\n";
  REQUIRE(std::system(("python3 " + folder.write("old.py", script) + " " + book).c_str()) == 0);
  CHECK(gearhark_run("case found 7 pinion_head_bearing --casebook " + book).code == 0);
  CHECK_THAT(gearhark_run("case show 7 --casebook " + book).out,
             Contains("an old case") && Contains("found"));
}

TEST_CASE("teardown findings weigh in a diagnosis when there are twenty, and fewer are refused") {
  const Folder folder;
  const std::string file = folder / "book.sqlite", book = " --casebook " + file,
                    paper = folder.write("d.json", diagnosis("pinion_head_bearing"));
  const std::string words =
      "diagnose " + source_folder + "/samples/pinion_bearing/ROADTEST.toml --json - --experience ";
  const Ran none = gearhark_run(words + file);
  CHECK(none.code == 1);
  CHECK(none.one_sentence());
  for (int i = 1; i <= 20; ++i) {
    CHECK(gearhark_run("case add Gears " + paper + book).code == 0);
    CHECK(gearhark_run("case found " + std::to_string(i) + " gear_pair_3 --fault 'worn teeth'" + book).code ==
          0);
    if (i != 19) continue;
    const Ran few = gearhark_run(words + file);
    CHECK(few.code == 1);
    CHECK(few.one_sentence());
    CHECK_THAT(few.complaint, Contains("19 teardown findings"));
  }
  const Ran ran = gearhark_run(words + file);
  REQUIRE(ran.code == 0);
  CHECK(schema_complaint("diagnosis", ran.out) == "");
  const json weighed = json::parse(ran.out);
  CHECK(weighed["earlier_findings"] == 20);
  const json plain = json::parse(
      gearhark_run("diagnose " + source_folder + "/samples/pinion_bearing/ROADTEST.toml --json -").out);
  CHECK(plain["earlier_findings"] == 0);
  CHECK(weighed["suspects"][0]["probability"].get<double>() <
        plain["suspects"][0]["probability"].get<double>());
}
