#include <catch2/catch.hpp>

#include "program.hpp"

using namespace gearhark;
using Catch::Contains;

namespace {

const std::string plan = "plan " + heron + " --suspect pinion_head_bearing ";

}  // namespace

TEST_CASE("a report page is written whole, besides the text, and nothing else is left in the folder") {
  const Folder folder;
  const Ran without = gearhark_run(plan), with = gearhark_run(plan + "--report " + (folder / "plan.html"));
  INFO(with.complaint);
  CHECK(with.code == 0);
  CHECK(with.out == without.out);
  const std::string page = contents(folder / "plan.html");
  CHECK(page.starts_with("<!DOCTYPE html>"));
  CHECK(page.ends_with("</html>\n"));
  CHECK_THAT(page, Contains("<h1>Tarn Heron 1300 (invented)</h1>"));
  CHECK(folder.files() == 1);
}

TEST_CASE("a report page that can't be written ends in one sentence, and an older one stays as it was") {
  const Folder folder;
  const Ran nowhere = gearhark_run(plan + "--report " + (folder / "none/plan.html"));
  CHECK(nowhere.code == 1);
  CHECK(nowhere.one_sentence());
  CHECK_THAT(nowhere.complaint, Contains("none/plan.html can't be written"));
  const std::string older = folder.write("plan.html", "older");
  const Ran refused = gearhark_run("plan none.toml --report " + older);
  CHECK(refused.code == 1);
  CHECK(contents(older) == "older");
  CHECK(folder.files() == 1);
}

TEST_CASE("diagnose, confirm and compare write pages even of recordings from which nothing can be told") {
  const Folder folder;
  REQUIRE_FALSE(folder.write("a.wav", wav(noise(4.0, 8000), 8000)).empty());
  const std::string test = folder.write(
      "ROADTEST.toml",
      "car = \"" + heron +
          "\"\n[[recording]]\nfile = \"a.wav\"\ngear = 3\nload = \"drive\"\nspeed = \"40 mph\"\n");
  const std::string page = folder / "a.html", to_page = " --report " + page;
  for (const std::string& words :
       {"diagnose " + test, "confirm " + test + " --suspect pinion_head_bearing --injections 0",
        "compare " + test + " " + test}) {
    const Ran ran = gearhark_run(words + to_page);
    INFO(words << "\n" << ran.complaint);
    CHECK(ran.code == 0);
    CHECK_THAT(contents(page), Contains("<h1>Tarn Heron 1300 (invented)</h1>") && Contains("</html>\n"));
    CHECK_THAT(contents(page), !Contains("<audio"));
  }
  CHECK(folder.files() == 3);
}
