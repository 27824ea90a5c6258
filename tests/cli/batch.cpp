// Many road tests at once: every case gets its line, whatever happens to the others and to the program.
#include <sys/stat.h>

#include <catch2/catch.hpp>
#include <map>
#include <nlohmann/json.hpp>
#include <sstream>

#include "program.hpp"

using namespace gearhark;
using Catch::Contains;
using nlohmann::json;

namespace {

// The answers by case; every line must be one.
std::map<std::string, json> answers_in(const std::string& text) {
  std::map<std::string, json> out;
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) {
    const json answer = json::parse(line);
    CHECK(out.emplace(answer.at("case").get<std::string>(), answer).second);
  }
  return out;
}

// A road test of noise in a line of JSON.
std::string noise_case(const Folder& folder, const std::string& name) {
  if (!std::filesystem::exists(folder / "a.wav"))
    static_cast<void>(folder.write("a.wav", wav(noise(6.0, 16000), 16000)));
  return json{{"case", name},
              {"car", heron},
              {"recording",
               {{{"file", folder / "a.wav"}, {"gear", 3}, {"load", "drive"}, {"speed", "65 km/h"}}}}}
             .dump() +
         "\n";
}

void is_schema_valid(const json& answer) {
  CHECK(schema_complaint("answer", answer.dump()).empty());
  if (answer.contains("diagnosis")) CHECK(schema_complaint("diagnosis", answer["diagnosis"].dump()).empty());
}

}  // namespace

TEST_CASE("a batch answers every case and one that can't be read stops no other") {
  const Folder folder;
  const std::string list = folder.write(
      "list", "# cases\n\n" + noise_case(folder, "good") + (folder / "none.toml") + "\r\n{\"case\":\"cut\n" +
                  "{\"case\":\"odd\",\"car\":null}\n{\"case\":\"good\",\"road_test\":\"x.toml\"}\n" +
                  noise_case(folder, "other"));
  const Ran ran = gearhark_run("batch " + list + " --jobs 2");
  INFO(ran.complaint);
  REQUIRE(ran.code == 0);
  CHECK_THAT(ran.complaint, Contains("6 cases answered, 4 of them with an error"));
  std::size_t lines = 0;
  std::istringstream text(ran.out);
  for (std::string line; std::getline(text, line); ++lines) is_schema_valid(json::parse(line));
  CHECK(lines == 6);
  CHECK_THAT(ran.out, Contains("none.toml: the road-test file can't be read") &&
                          Contains(list + ":5: this line is no JSON object") &&
                          Contains(list + ":6: \\\"car\\\" must be text") &&
                          Contains(list + ":7: the case \\\"good\\\" stands at " + list + ":3 already"));
}

TEST_CASE("a case that hangs is stopped at its time limit and the others are answered") {
  const Folder folder;
  const std::string silent = folder / "nobody_writes.toml";
  REQUIRE(::mkfifo(silent.c_str(), 0600) == 0);
  const std::string list = folder.write("list", silent + "\n" + (folder / "none.toml") + "\n");
  const Ran ran = gearhark_run("batch " + list + " --jobs 1 --limit 2");
  REQUIRE(ran.code == 0);
  const auto answers = answers_in(ran.out);
  REQUIRE(answers.size() == 2);
  CHECK_THAT(answers.at(silent).at("error").get<std::string>(),
             Contains("it took longer than 2 s and was stopped"));
  CHECK_THAT(answers.at(folder / "none.toml").at("error").get<std::string>(), Contains("can't be read"));
  for (const auto& [name, answer] : answers) is_schema_valid(answer);
}

TEST_CASE("a batch gives the same diagnosis as diagnose does") {
  const Folder folder;
  const std::string test = source_folder + "/samples/healthy/ROADTEST.toml", file = folder / "one.json";
  REQUIRE(gearhark_run("diagnose " + test + " --json " + file).code == 0);
  const auto answers = answers_in(gearhark_run("batch " + folder.write("list", test)).out);
  REQUIRE(answers.contains(test));
  CHECK(answers.at(test)["diagnosis"] == json::parse(contents(file)));
}

TEST_CASE("a batch goes on where it was stopped and mends a line that was torn off") {
  const Folder folder;
  std::string list;
  for (const char* name : {"a", "b", "c"}) list += noise_case(folder, name);
  const std::string out = folder / "answers";
  const std::string words = "batch " + folder.write("list", list) + " --go-on " + out;
  REQUIRE(gearhark_run(words).code == 0);
  const auto whole = answers_in(contents(out));
  REQUIRE(whole.size() == 3);
  const std::string bytes = contents(out);
  for (const std::size_t kept : {std::size_t{0}, std::size_t{1}, bytes.find('\n'), bytes.find('\n') + 1,
                                 bytes.find('\n') + 40, bytes.size() - 1, bytes.size()}) {
    INFO(kept);
    static_cast<void>(folder.write("answers", bytes.substr(0, kept)));
    REQUIRE(gearhark_run(words).code == 0);
    CHECK(answers_in(contents(out)) == whole);
  }
}

TEST_CASE("a batch goes on in no file that is not its own") {
  const Folder folder;
  const std::string list = folder.write("list", noise_case(folder, "a"));
  for (const std::string& text : {std::string("Dear Sir,\n"), std::string("no end"), std::string("{}\n")}) {
    const std::string file = folder.write("letter", text);
    const Ran ran = gearhark_run("batch " + list + " --go-on " + file);
    CHECK(ran.code == 1);
    CHECK(ran.one_sentence());
    CHECK_THAT(ran.complaint, Contains("letter:1: this line is no answer of a batch"));
    CHECK(contents(file) == text);
  }
}

TEST_CASE("a list that can't be read is one sentence") {
  CHECK(gearhark_run("batch none").one_sentence());
  CHECK(gearhark_run("batch none").code == 1);
  CHECK(gearhark_run("batch none --jobs 0").code == 2);
}
