// A disk that is full, can't be read or fails, memory that is not there, and a program killed in the middle
// of writing: one sentence and exit code 1, and a file is the old one or the whole new one.
#ifdef GEARHARK_FAULT_SHIM
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "program.hpp"

using namespace gearhark;
using Catch::Contains;
using nlohmann::json;

namespace {

const std::string sample = source_folder + "/samples/pinion_repaired/ROADTEST.toml";
const std::string old = "an older result\n";

// Runs with a failing system (shim.cpp). `before` is put before the program's name, such as a limit of the
// shell.
Ran run_with(const std::string& fault, const std::string& words, const std::string& before = "") {
  const Folder folder;
  const std::string out = folder / "out", complaint = folder / "err";
  const std::string command = before + " env LD_PRELOAD=" GEARHARK_FAULT_SHIM " GEARHARK_FAULT='" + fault +
                              "' \"" + GEARHARK_PROGRAM + "\" " + words + " >" + out + " 2>" + complaint;
  const int status = std::system(command.c_str());
  const int code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  return {code, contents(out), contents(complaint)};
}

bool is_complaint(const Ran& ran) {
  return ran.complaint.starts_with("gearhark: ") && ran.complaint.find('\n') + 1 == ran.complaint.size();
}

long calls_of(const std::string& kind, const std::string& words) {
  const Folder folder;
  const Ran ran = run_with(kind + " 0", words, "GEARHARK_FAULT_COUNT=" + (folder / "n"));
  REQUIRE(ran.code == 0);
  return std::stol(contents(folder / "n"));
}

std::size_t parts_in(const Folder& folder, const std::string& directory = "") {
  std::size_t count = 0;
  for (const auto& entry : std::filesystem::directory_iterator(folder / directory))
    count += entry.path().extension() == ".part";
  return count;
}

// Each way in which a command writes, onto "target" in the folder. Listening takes a second a time, the
// others little.
std::vector<std::string> writers(const Folder& folder) {
  const std::string target = folder / "target", car = source_folder + "/models/heron_rear_transaxle.toml";
  return {"orders " + car + " --json " + target,
          "plan " + car + " --suspect pinion_head_bearing --report " + target};
}

}  // namespace

TEST_CASE("a program killed while it writes leaves the old file or the whole new one") {
  const Folder folder;
  for (const std::string& words : writers(folder)) {
    REQUIRE(run_with("kill 0", words).code == 0);
    const std::string whole = contents(folder / "target");
    REQUIRE(whole.size() > 1000);
    const long calls = calls_of("kill", words);
    REQUIRE(calls >= 3);
    for (long n = 1; n <= calls; ++n) {
      static_cast<void>(folder.write("target", old));
      CHECK(run_with("kill " + std::to_string(n), words).code == 128 + 9);
      INFO(words << ", call " << n);
      const std::string left = contents(folder / "target");
      CHECK((left == old || left == whole));
    }
  }
}

TEST_CASE("on a full disk the old file stays, nothing is left beside it, and one sentence says why") {
  for (const std::string before : {"", "ulimit -f 2;"}) {
    const Folder folder;
    for (const std::string& words : writers(folder)) {
      static_cast<void>(folder.write("target", old));
      const Ran ran = run_with(before.empty() ? "full 1" : "full 0", words, before);
      INFO(words << "\n" << ran.complaint);
      CHECK(ran.code == 1);
      CHECK(is_complaint(ran));
      CHECK(contents(folder / "target") == old);
      CHECK(parts_in(folder) == 0);
    }
  }
}

TEST_CASE("listen leaves no half sound on a full disk, nor when killed") {
  const Folder folder;
  const std::string words =
      "listen " + sample + " --part pinion_head_bearing --run 1 --out " + (folder / "target.wav");
  static_cast<void>(folder.write("target.wav", old));
  const Ran full = run_with("full 0", words, "ulimit -f 64;");
  CHECK(full.code == 1);
  CHECK(is_complaint(full));
  CHECK(folder.files() == 1);
  CHECK(run_with("kill 2", words).code == 128 + 9);
  CHECK(contents(folder / "target.wav") == old);
}

TEST_CASE("a device can be written to and is still a device afterwards") {
  const Folder folder;
  const std::string pipe = folder / "pipe";
  REQUIRE(std::system(("mkfifo " + pipe).c_str()) == 0);
  const std::string words = "teeth 4.11 --json ";
  REQUIRE(std::system(("timeout 60 cat " + pipe + " >" + (folder / "read") + " &").c_str()) == 0);
  CHECK(gearhark_run(words + pipe).code == 0);
  CHECK(std::filesystem::is_fifo(pipe));
  const Ran full = gearhark_run(words + "/dev/full");
  CHECK(full.code == 1);
  CHECK(full.one_sentence());
  CHECK(std::filesystem::is_character_file("/dev/full"));
  std::filesystem::create_symlink(folder.write("real.json", old), folder / "link.json");
  CHECK(gearhark_run(words + (folder / "link.json")).code == 0);
  CHECK(std::filesystem::is_symlink(folder / "link.json"));
  CHECK(json::parse(contents(folder / "real.json")).is_object());
}

TEST_CASE("printing to a full disk is an error") {
  CHECK(std::system(("\"" GEARHARK_PROGRAM "\" teeth 4.11 >/dev/full 2>/dev/null")) == 256);
  CHECK(std::system(("\"" GEARHARK_PROGRAM "\" --help >/dev/full 2>/dev/null")) == 256);
}

TEST_CASE(
    "a casebook killed or short of disk at any call keeps all that it held, and takes the case or not") {
  const Folder folder;
  const std::string book = folder / "book.sqlite",
                    text = folder.write("diagnosis.json", "{\"format\":\"gearhark diagnosis\"}");
  const std::string add = "case add second " + text + " --casebook " + book;
  REQUIRE(gearhark_run("case add first " + text + " --casebook " + book).code == 0);
  const std::string before = contents(book);
  const auto titles = [&] {
    const Ran ran = gearhark_run("case list --json - --casebook " + book);
    INFO(ran.complaint);
    REQUIRE(ran.code == 0);
    std::string out;
    const json listed = json::parse(ran.out);
    for (const json& one : listed["cases"]) out += one["title"].get<std::string>() + " ";
    return out;
  };
  for (const std::string kind : {"kill ", "full "}) {
    const long calls = calls_of(kind.substr(0, 4), add);
    REQUIRE(calls >= 5);
    for (long n = 1; n <= calls; ++n) {
      std::filesystem::remove(book + "-journal");
      static_cast<void>(folder.write("book.sqlite", before));
      const Ran ran = run_with(kind + std::to_string(n), add);
      INFO(kind << n << " of " << calls << ": " << ran.code << " " << ran.complaint);
      const std::string kept = titles();
      CHECK((kept == "first " || kept == "first second "));
      if (kind == "kill ") continue;
      CHECK(ran.code == (kept == "first " ? 1 : 0));
      if (ran.code == 1) CHECK(is_complaint(ran));
    }
  }
}

TEST_CASE("a batch killed or short of disk at any call goes on to the same answers") {
  const Folder folder;
  const std::string out = folder / "answers";
  const std::string words =
      "batch " + folder.write("list", "a.toml\nb.toml\nc.toml\n") + " --jobs 1 --go-on " + out;
  REQUIRE(gearhark_run(words).code == 0);
  const std::string whole = contents(out);
  for (const std::string kind : {"kill ", "full "})
    for (long n = 1; n <= 3; ++n) {
      std::filesystem::remove(out);
      INFO(kind << n);
      CHECK(run_with(kind + std::to_string(n), words).code != 0);
      CHECK(contents(out) != whole);
      REQUIRE(gearhark_run(words).code == 0);
      CHECK(contents(out) == whole);
    }
}

TEST_CASE("a recording that the disk can't give to its end is said to be so or is used as far as it goes") {
  const std::string words = "check " + source_folder + "/samples/pinion_repaired/run4.opus --json -";
  const long calls = calls_of("read", words);
  REQUIRE(calls >= 3);
  for (const long n : {1L, 2L, calls / 2, calls - 1}) {
    const Ran ran = run_with("read " + std::to_string(n), words);
    INFO(n << " of " << calls << ": " << ran.complaint);
    if (ran.code == 0)
      CHECK_THAT(json::parse(ran.out)["note"].get<std::string>(), Contains("early") || Contains("cut off"));
    else
      CHECK((ran.code == 1 && is_complaint(ran)));
  }
  const Ran text = gearhark_run("orders /proc/self/mem");
  CHECK(text.code == 1);
  CHECK(text.one_sentence());
  CHECK_THAT(text.complaint, Contains("can't be read to its end"));
}

TEST_CASE("an endless file is not read for ever") {
  const Ran ran = gearhark_run("orders /dev/zero");
  CHECK(ran.code == 1);
  CHECK_THAT(ran.complaint, Contains("longer than 256 MB"));
}

TEST_CASE("memory that is not there, at any moment, is one sentence and leaves no file behind") {
  const Folder folder;
  const std::string target = folder / "target";
  for (const std::string& words :
       {"orders " + heron + " --json " + target,
        "check " + source_folder + "/samples/pinion_bearing/run1.m4a --json " + target}) {
    const long calls = calls_of("memory", words);
    REQUIRE(calls > 1000);
    const std::string whole = contents(target);
    int refused = 0;
    for (int i = 0; i < 24; ++i) {
      const long n = 1 + calls * i / 24;
      std::filesystem::remove(target);
      const Ran ran = run_with("memory " + std::to_string(n), words);
      INFO(words << "\n" << n << " of " << calls << ": " << ran.code << " " << ran.complaint);
      // A library that can do without goes on.
      if (ran.code == 0) {
        CHECK(contents(target).size() > 100);
        continue;
      }
      ++refused;
      CHECK(ran.code == 1);
      CHECK(is_complaint(ran));
      CHECK(parts_in(folder) == 0);
      CHECK((!std::filesystem::exists(target) || contents(target) == whole));
    }
    CHECK(refused > 8);
  }
}
#endif
