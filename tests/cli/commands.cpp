#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "gearhark/units/files.hpp"
#include "program.hpp"

using namespace gearhark;
using Catch::Contains;
using nlohmann::json;

namespace {

// A road test of one short run of noise: nothing to be heard in it.
std::string noise_test(const Folder& folder) {
  static_cast<void>(folder.write("run.wav", wav(noise(6.0, 16000), 16000)));
  return folder.write("t.toml", "car = \"" + heron +
                                    "\"\n[[recording]]\nfile = \"run.wav\"\ngear = 3\nload = \"drive\"\n"
                                    "speed = \"65 km/h\"\n");
}

}  // namespace

TEST_CASE("help lists the commands there are and every command's help has an example") {
  const Ran all = gearhark_run("--help");
  CHECK(all.code == 0);
  for (const std::string command : {"orders", "teeth", "check", "diagnose", "batch", "compare", "listen",
                                    "decide", "swap", "inspect", "case", "workbench", "recorder"}) {
    CHECK_THAT(all.out, Contains("\n  " + command + " "));
    const Ran one = gearhark_run(command + " --help");
    INFO(command);
    CHECK(one.code == 0);
    CHECK_THAT(one.out, Contains("Example") && Contains("\n  gearhark " + command + " "));
  }
  CHECK(gearhark_run("--version").out.starts_with("gearhark "));
}

TEST_CASE("a wrong command line is one sentence and exit code 2") {
  const std::string car = "--car " + heron, run = " --gear 3 --load drive --speed 45mph x.wav";
  for (const std::string& words : {std::string(""),
                                   std::string("tune"),
                                   std::string("orders"),
                                   std::string("teeth"),
                                   std::string("diagnose"),
                                   std::string("teeth 4.11 --colour"),
                                   std::string("teeth none"),
                                   "orders " + heron + " --speed 45",
                                   "orders " + heron + " --speed 0mph",
                                   "orders " + heron + " --speed 900mph",
                                   "orders " + heron + " --gear 7",
                                   "orders " + heron + " --engine 2000",
                                   std::string("diagnose x.wav"),
                                   "diagnose " + car + " x.toml",
                                   "diagnose " + car + " --load drive --speed 45mph x.wav",
                                   "diagnose " + car + " --gear 3 --speed 45mph x.wav",
                                   "diagnose " + car + " --gear 3 --load drive x.wav",
                                   "diagnose " + car + " --gear 3 --load pull --speed 45mph x.wav",
                                   "diagnose " + car + " --gear 3 --load drive --speed 45 x.wav",
                                   "diagnose " + car + " --gear 3 --load drive --speed 0mph x.wav",
                                   "diagnose " + car + " --gear 3 --load drive --speed 900mph x.wav",
                                   "diagnose " + car + " --gear 7 --load drive --speed 45mph x.wav",
                                   "diagnose " + car + " --gear N --load drive --speed 45mph x.wav",
                                   "diagnose " + car + " --shaft-rate 1797" + run,
                                   "diagnose " + car + " --turn up" + run,
                                   "diagnose " + car + " --from 9 --to 4" + run,
                                   "diagnose " + car + " --from soon" + run}) {
    const Ran ran = gearhark_run(words);
    INFO(words << "\n" << ran.complaint);
    CHECK(ran.code == 2);
    CHECK(ran.one_sentence());
  }
}

TEST_CASE("a complaint about the command line says what was found and what would be right") {
  const std::string run = "diagnose --car " + heron + " --load drive x.wav ";
  CHECK_THAT(gearhark_run(run + "--gear 7 --speed 45mph").complaint,
             Contains("the car has no gear \"7\"; its gears are N, 1, 2, 3, 4, R"));
  CHECK_THAT(gearhark_run(run + "--gear 3 --speed 45").complaint,
             Contains("--speed: the speed \"45\" has no unit; write for example 45mph"));
  CHECK_THAT(gearhark_run(run + "--gear 3 --speed 900mph").complaint, Contains("\"900mph\" can't be right"));
  CHECK_THAT(gearhark_run("orders").complaint, Contains("see gearhark orders --help"));
}

TEST_CASE(
    "teeth of 4.11 are 37 and 9 first, as in trade tables of axle ratios") {  // service literature (general)
  const Ran ran = gearhark_run("teeth 4.11 --json -");
  CHECK(ran.code == 0);
  const json first = json::parse(ran.out)["pairs"][0];
  CHECK(first["driving"] == 9);
  CHECK(first["driven"] == 37);
  CHECK(schema_complaint("teeth", ran.out).empty());
  CHECK_THAT(gearhark_run("teeth 4.11").out, Contains("      9      37  4.11111"));
}

TEST_CASE("orders are printed in the unit that was asked in, and as JSON that fits its schema") {
  const Ran text = gearhark_run("orders " + heron + " --speed 45mph --gear 3");
  CHECK(text.code == 0);
  CHECK_THAT(text.out, Contains("gear 3, 45 mph") && Contains("pinion head bearing"));
  const Ran machine = gearhark_run("orders " + heron + " --speed 45mph --gear 3 --json -");
  CHECK(machine.code == 0);
  CHECK(schema_complaint("orders", machine.out).empty());
  CHECK(json::parse(machine.out)["gears"] == json({"N", "1", "2", "3", "4", "R"}));
  const Ran neutral = gearhark_run("orders " + heron + " --json -");
  CHECK(schema_complaint("orders", neutral.out).empty());
}

TEST_CASE("a check is printed, and as JSON fits its schema, of noise as of silence") {
  const Folder folder;
  const std::string sound = folder.write("a.wav", wav(noise(5.0, 16000), 16000)),
                    silence = folder.write("b.wav", wav(std::vector<float>(48000), 16000));
  const Ran text = gearhark_run("check " + sound);
  CHECK(text.code == 0);
  CHECK_THAT(text.out, Contains("WAV") && Contains("usable"));
  const Ran machine = gearhark_run("check --json - " + sound);
  CHECK(json::parse(machine.out)["duration_s"] == 5.0);
  CHECK(schema_complaint("check", machine.out).empty());
  CHECK(schema_complaint("check", gearhark_run("check --json - " + silence).out).empty());
  const Ran drawn = gearhark_run("check --outline 20 --json - " + sound);
  CHECK(json::parse(drawn.out)["outline"].size() == 20);
  CHECK(schema_complaint("check", drawn.out).empty());
  CHECK_FALSE(json::parse(machine.out).contains("outline"));
}

TEST_CASE("a check with car, gear and speed says what the needle's error is") {
  const std::string source = GEARHARK_SOURCE_DIR;
  const std::string run = " --car " + source + "/models/heron_rear_transaxle.toml --gear 3 --load drive " +
                          source + "/samples/pinion_bearing/run1.m4a";
  CHECK_THAT(gearhark_run("check --speed 65km/h" + run).out, Contains("the needle reads"));
  CHECK_THAT(gearhark_run("check --engine-speed 2700rpm" + run).out, Contains("the rev counter reads"));
  const Ran machine = gearhark_run("check --json - --speed 65km/h" + run);
  CHECK(schema_complaint("check", machine.out).empty());
  CHECK_THAT(machine.out, Contains("\"gear_that_fits\": \"3\""));
  CHECK(gearhark_run("check --gear 3 x.m4a").code == 2);
}

TEST_CASE("the schema check can fail") { CHECK_FALSE(schema_complaint("orders", "{}").empty()); }

TEST_CASE("JSON goes to the file it names, whole or not at all") {
  const Folder folder;
  const std::string file = folder / "out.json";
  const Ran ran = gearhark_run("teeth 4.11 --json " + file);
  CHECK(ran.code == 0);
  CHECK_THAT(ran.out, Contains("Tooth pairs"));
  CHECK(json::parse(contents(file))["format"] == "gearhark teeth");
  CHECK(folder.files() == 1);
  const Ran nowhere = gearhark_run("teeth 4.11 --json " + (folder / "no/such/folder/out.json"));
  CHECK(nowhere.code == 1);
  CHECK(nowhere.one_sentence());
  CHECK_THAT(nowhere.complaint, Contains("can't be written"));
  const Ran taken = gearhark_run("teeth 4.11 --json " + source_folder);
  CHECK(taken.code == 1);
  CHECK(taken.one_sentence());
  CHECK(folder.files() == 1);
}

TEST_CASE("a road test of plain noise ends in a diagnosis that fits its schema and names no fault") {
  const Folder folder;
  const std::string test = noise_test(folder);
  const Ran machine = gearhark_run("diagnose " + test + " --json -");
  INFO(machine.complaint);
  REQUIRE(machine.code == 0);
  CHECK(schema_complaint("diagnosis", machine.out).empty());
  const json d = json::parse(machine.out);
  CHECK(d["verdict"] != "fault heard");
  // No speed fits it, so nothing was looked at.
  CHECK(d["suspects"].empty());
  CHECK(d["no_fault_probability"].is_null());
  CHECK(d["next_run"].is_object());
}

TEST_CASE("a diagnosis says what it is doing when asked, and prints the same") {
  const Folder folder;
  const std::string test = noise_test(folder);
  const Ran quiet = gearhark_run("diagnose " + test), told = gearhark_run("diagnose --progress " + test);
  CHECK(quiet.complaint.empty());
  CHECK(told.out == quiet.out);
  CHECK_THAT(told.complaint,
             Contains("reading the recordings ...\n") && Contains("ranking the suspects ...\n"));
}

TEST_CASE("the workbench says in one sentence why it can't start") {
  const Folder folder;
  CHECK(gearhark_run("workbench --no-browser --port 0").code == 2);
  const Ran elsewhere = gearhark_run("workbench --no-browser --lan-address 203.0.113.7");
  CHECK(elsewhere.code == 1);
  CHECK(elsewhere.one_sentence());
}

TEST_CASE(
    "the recorder is one page that names no other address, and what keeps it for use without a network") {
  const Folder folder;
  const Ran made = gearhark_run("recorder " + (folder / "page.html"));
  CHECK(made.code == 0);
  const auto page = text_of_file(folder / "page.html", "the page");
  REQUIRE(page);
  CHECK_THAT(*page,
             Contains("default-src 'none'") && !Contains("{{") && !Contains("://") && !Contains(" src="));
  CHECK(text_of_file(folder / "recorder_offline.js", "the script"));
  CHECK(gearhark_run("recorder " + (folder / "no/page.html")).one_sentence());
  const Ran alone = gearhark_run("workbench --no-browser --https");
  CHECK(alone.code == 2);
  CHECK(alone.one_sentence());
}

TEST_CASE("one recording with options says the same as a road test that lists it") {
  const Folder folder;
  const std::string test = noise_test(folder);
  const Ran several = gearhark_run("diagnose " + test);
  const Ran single = gearhark_run("diagnose --car " + heron + " --gear 3 --load drive --speed '65 km/h' " +
                                  (folder / "run.wav"));
  CHECK(single.code == 0);
  CHECK(single.out == several.out);
  CHECK(single.out.starts_with("Tarn Heron 1300 (invented): "));
}

TEST_CASE("a bench spin is given its shaft speed") {
  const Folder folder;
  const std::string sound = folder.write("spin.wav", wav(noise(3.0, 12000), 12000));
  const Ran ran =
      gearhark_run("diagnose --car " + heron + " --gear N --shaft-rate 1797rpm --json - " + sound);
  INFO(ran.complaint);
  REQUIRE(ran.code == 0);
  CHECK(json::parse(ran.out)["recordings"][0]["mean_wheel_hz"].get<double>() == Approx(29.95).epsilon(1e-3));
}
