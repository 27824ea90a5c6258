// What a workshop computer will sooner or later be fed with: each ends in one sentence that names the file
// and the cure, and in the exit code of the contract.
#include <catch2/catch.hpp>
#include <limits>
#include <nlohmann/json.hpp>

#include "program.hpp"

using namespace gearhark;
using Catch::Contains;
using nlohmann::json;

namespace {

Ran diagnose(const std::string& recording, const std::string& more = "") {
  return gearhark_run("diagnose --car " + heron + " --gear 3 --load drive --speed 65km/h " + more +
                      recording);
}

void check_unusable(const Ran& ran, const std::string& file) {
  INFO(file << "\n" << ran.out << ran.complaint);
  CHECK(ran.code == 1);
  CHECK(ran.one_sentence());
  CHECK_THAT(ran.complaint, Contains(file));
}

// Usable, but nothing can be told from it: exit code 0, and the recording's problems say why.
void check_cannot_tell(const Ran& ran) {
  INFO(ran.complaint);
  REQUIRE(ran.code == 0);
  const json d = json::parse(ran.out);
  CHECK(d["verdict"] == "can't tell");
  CHECK_FALSE(d["recordings"][0]["problems"].empty());
}

struct BadCar {
  const char* mistake;
  const char* text;  // of the car file, after the lines every car needs
  const char* says;  // part of the sentence
};

const std::string every_car =
    "name = \"x\"\ndriven = \"rear\"\n[engine]\ncylinders = 4\n[tyre]\nsize = \"165R15\"\n";
const std::string gearbox =
    "[gearbox]\nkind = \"two-shaft\"\n[[gearbox.gear]]\ngear = 1\ndriving = 10\ndriven = 37\n"
    "[final_drive]\npinion = 8\nring = 35\n";

const std::vector<BadCar> bad_cars{
    {"a loop whose ratios contradict each other",
     "[[shaft]]\nid = \"a\"\n[[gear_pair]]\nid = \"p\"\ndriving_shaft = \"engine\"\ndriven_shaft = "
     "\"a\"\ndriving = "
     "20\ndriven = 40\n[[gear_pair]]\nid = \"q\"\ndriving_shaft = \"engine\"\ndriven_shaft = \"a\"\ndriving "
     "= "
     "20\ndriven = 41\n",
     "engine - a form a loop whose ratios contradict each other"},
    {"a shaft tied to nothing", "[[shaft]]\nid = \"loner\"\n", "the shaft \"loner\" is tied to nothing"},
    {"a gear that does not exist",
     "[[shaft]]\nid = \"a\"\n[[coupling]]\njoin = [\"a\", \"engine\"]\ngears = [9]\n", "the gear \"9\""},
    {"teeth below 5",
     "[[shaft]]\nid = \"a\"\n[[gear_pair]]\nid = \"p\"\ndriving_shaft = \"engine\"\ndriven_shaft = "
     "\"a\"\ndriving = 3\ndriven = 40\n",
     "3 teeth"},
    {"balls that do not fit the pitch circle",
     "[[bearing]]\nid = \"b\"\nshaft = \"wheel_rl\"\nelements = 20\nelement_diameter = \"20 "
     "mm\"\npitch_diameter = "
     "\"60 mm\"\n",
     "do not fit on a pitch circle"},
    {"a misspelt key", "[[bearing]]\nid = \"b\"\nshaft = \"wheel_rl\"\nelemnts = 8\n",
     "did you mean \"elements\"?"},
    {"a duplicate ID",
     "[[bearing]]\nid = \"b\"\nshaft = \"wheel_rl\"\n[[bearing]]\nid = \"b\"\nshaft = \"wheel_rr\"\n",
     "used twice"},
    {"a wrong unit",
     "[[bearing]]\nid = \"b\"\nshaft = \"wheel_rl\"\nelements = 8\nelement_diameter = \"12 "
     "mph\"\npitch_diameter = "
     "\"60 mm\"\n",
     "mph"},
};

}  // namespace

TEST_CASE("a recording that is no recording can't be used") {
  const Folder folder;
  const std::string whole = wav(noise(3.0, 8000), 8000);
  check_unusable(diagnose(folder / "missing.wav"), "missing.wav");
  check_unusable(diagnose(folder.write("empty.wav", "")), "empty.wav");
  check_unusable(diagnose(folder.write("header_only.wav", whole.substr(0, 20))), "header_only.wav");
  check_unusable(diagnose(folder.write("letter.m4a", "Dear Sir, the noise is worse.")), "letter.m4a");
  check_unusable(gearhark_run("check " + (folder / "missing.wav")), "missing.wav");
  check_unusable(gearhark_run("check " + (folder / "letter.m4a")), "letter.m4a");
  check_unusable(
      diagnose(folder.write("nan.wav",
                            wav(std::vector<float>(24000, std::numeric_limits<float>::quiet_NaN()), 8000))),
      "nan.wav");
}

TEST_CASE("from a silent or a one-second recording nothing can be told") {
  const Folder folder;
  check_cannot_tell(diagnose(folder.write("silent.wav", wav(std::vector<float>(80000), 8000)), "--json - "));
  check_cannot_tell(diagnose(folder.write("short.wav", wav(noise(1.0, 16000), 16000)), "--json - "));
}

TEST_CASE("8 kHz and 32 channels are usable") {
  const Folder folder;
  for (const auto& sound : {wav(noise(4.0, 8000), 8000), wav(noise(3.0, 8000), 8000, 32)}) {
    const Ran ran = diagnose(folder.write("a.wav", sound), "--json - ");
    INFO(ran.complaint);
    REQUIRE(ran.code == 0);
    CHECK(json::parse(ran.out)["verdict"] != "fault heard");
  }
}

TEST_CASE("a part beyond the end of the recording can't be used") {
  const Folder folder;
  check_unusable(diagnose(folder.write("a.wav", wav(noise(2.0, 8000), 8000)), "--from 0:10 "), "a.wav");
}

TEST_CASE("a car file with a mistake can't be used, and the sentence gives line and column") {
  const Folder folder;
  for (const BadCar& bad : bad_cars) {
    const std::string file = folder.write("car.toml", every_car + gearbox + bad.text);
    const Ran ran = gearhark_run("orders " + file + " --speed 45mph --gear 1");
    INFO(bad.mistake);
    check_unusable(ran, "car.toml:");
    CHECK_THAT(ran.complaint, Contains(bad.says));
    CHECK_THAT(ran.complaint, Catch::Matches(".*car\\.toml:[0-9]+:[0-9]+: .*\n"));
  }
  check_unusable(gearhark_run("orders " + (folder / "none.toml")), "none.toml");
  check_unusable(gearhark_run("orders " + folder.write("noise.toml", wav({0.5F}, 8000))), "noise.toml");
}

TEST_CASE("a road test with a mistake can't be used, and nothing is written") {
  const Folder folder;
  static_cast<void>(folder.write("a.wav", wav(noise(2.0, 8000), 8000)));
  const std::string head = "car = \"" + heron + "\"\n[[recording]]\nfile = \"a.wav\"\nload = \"drive\"\n";
  for (const std::string tail :
       {"gear = 3\nspeed = \"0 mph\"\n", "gear = 3\nspeed = \"900 mph\"\n", "gear = 3\nspeed = \"45\"\n",
        "gear = 3\nspeed = 45\n", "gear = 7\nspeed = \"45 mph\"\n", "gear = 3\nspeeed = \"45 mph\"\n",
        "gear = 3\nspeed_file = \"none.gpx\"\n"}) {
    const std::string test = folder.write("t.toml", head + tail), answer = folder / "answer.json";
    const Ran ran = gearhark_run("diagnose " + test + " --json " + answer);
    INFO(tail);
    check_unusable(ran, "t.toml:");
    CHECK_FALSE(std::filesystem::exists(answer));
  }
  const std::string test =
      folder.write("t.toml", "car = \"" + heron +
                                 "\"\n[[recording]]\nfile = \"gone.wav\"\nload = \"drive\"\n"
                                 "gear = 3\nspeed = \"45 mph\"\n");
  check_unusable(gearhark_run("diagnose " + test), "gone.wav");
}
