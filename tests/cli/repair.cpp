#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "program.hpp"

using namespace gearhark;
using Catch::Contains;
using nlohmann::json;

namespace {

const std::string donor = source_folder + "/samples/swap/donor.toml",
                  price_list = source_folder + "/samples/decide/prices.toml";

// A diagnosis of the heron, as small as it can be.
std::string small_diagnosis(double pinion, double wheel) {
  const json d{
      {"format", "gearhark diagnosis"},
      {"version", 1},
      {"car", "Tarn Heron"},
      {"verdict", "fault heard"},
      {"suspects",
       {{{"part", "pinion_head_bearing"}, {"name", "pinion head bearing"}, {"probability", pinion}},
        {{"part", "wheel_bearing_rl"}, {"name", "rear left wheel bearing"}, {"probability", wheel}}}},
      {"no_fault_probability", 1.0 - pinion - wheel},
      {"unexplained_probability", 0.0}};
  return d.dump();
}

void ends_in_one_sentence(const std::string& words, int code, const std::string& says) {
  const Ran ran = gearhark_run(words);
  INFO(words << "\n" << ran.complaint);
  CHECK(ran.code == code);
  CHECK(ran.one_sentence());
  CHECK_THAT(ran.complaint, Contains(says));
}

}  // namespace

TEST_CASE("inspect prints in the unit that was read in, and JSON that fits its schema") {
  const std::string words = "inspect " + heron + " ring_and_pinion_backlash=8thou,0.009in";
  const Ran text = gearhark_run(words);
  CHECK(text.code == 0);
  CHECK_THAT(text.out, Contains("backlash: within the limit") && Contains("new 6.0 thou, limit 12.0 thou") &&
                           Contains("50 % of the wear allowance used"));
  const Ran machine = gearhark_run(words + " --json -");
  CHECK(schema_complaint("inspection", machine.out) == "");
  CHECK(json::parse(machine.out)["dimensions"][0]["wear_used"].get<double>() == Approx(0.5));
}

TEST_CASE("inspect says what is wrong with a reading, a name or a car file") {
  ends_in_one_sentence("inspect " + heron + " backlash=0.2mm", 2, "it has ring_and_pinion_backlash");
  ends_in_one_sentence("inspect " + heron + " ring_and_pinion_backlash=0.2", 2, "has no unit");
  ends_in_one_sentence("inspect " + heron + " 0.2mm", 2, "is not a reading");
  ends_in_one_sentence("inspect " + heron + " ring_and_pinion_backlash=1mm --resolution 0mm", 2,
                       "not above zero");
  ends_in_one_sentence("inspect none.toml ring_and_pinion_backlash=1mm", 1, "none.toml");
}

TEST_CASE("swap prints both cars side by side, and JSON that fits its schema") {
  const Ran text = gearhark_run("swap " + heron + " " + donor + " --speed 60mph");
  CHECK(text.code == 0);
  CHECK_THAT(text.out, Contains("Final drive 4.375 > 3.889 (-11.1 %)") && Contains("at 60 mph it shows") &&
                           Contains("8 to 35 teeth"));
  CHECK(schema_complaint("swap", gearhark_run("swap " + heron + " " + donor + " --json -").out) == "");
}

TEST_CASE("swap says what is wrong with its input") {
  ends_in_one_sentence("swap " + heron + " " + donor + " --speed 60", 2, "--speed");
  ends_in_one_sentence("swap " + heron + " " + donor + " --speed 0mph", 2, "can't be");
  ends_in_one_sentence("swap " + heron + " " + donor + " --gear 9", 2, "no gear \"9\"");
  ends_in_one_sentence("swap " + heron + " " + donor + " --reads-high lots", 2, "is not a percentage");
  ends_in_one_sentence("swap " + heron + " none.toml", 1, "none.toml");
}

TEST_CASE("decide reads a diagnosis, puts cautions first, and its JSON fits its schema") {
  const Folder folder;
  const std::string file = folder.write("d.json", small_diagnosis(0.7, 0.2)),
                    words = "decide " + file + " --car " + heron + " --prices " + price_list;
  const Ran text = gearhark_run(words);
  INFO(text.complaint);
  CHECK(text.code == 0);
  CHECK(text.out.find("Mind\n") < text.out.find("Costs in EUR"));
  CHECK_THAT(text.out, Contains("Do not drive on") && Contains("advised against"));
  CHECK(schema_complaint("decision", gearhark_run(words + " --json -").out) == "");
}

TEST_CASE("decide says what is wrong with a diagnosis or a prices file") {
  const Folder folder;
  const std::string good = folder.write("d.json", small_diagnosis(0.7, 0.2)), car = " --car " + heron,
                    prices = " --prices " + price_list;
  const auto with_prices = [&](const std::string& toml) {
    return "decide " + good + car + " --prices " + folder.write("p.toml", toml);
  };
  ends_in_one_sentence("decide " + good + prices, 2, "--car");
  ends_in_one_sentence("decide none.json" + car + prices, 1, "none.json");
  ends_in_one_sentence("decide " + folder.write("x.json", "{") + car + prices, 1, "not a diagnosis");
  ends_in_one_sentence("decide " + folder.write("y.json", "{\"format\":\"gearhark teeth\"}") + car + prices,
                       1, "\"gearhark diagnosis\"");
  ends_in_one_sentence(
      "decide " + folder.write("z.json", R"({"format":"gearhark diagnosis","version":1})") + car + prices, 1,
      "not a diagnosis");
  const std::string nothing =
      R"({"format":"gearhark diagnosis","version":1,"verdict":"can't tell","suspects":[],
          "no_fault_probability":null,"unexplained_probability":null})";
  ends_in_one_sentence("decide " + folder.write("n.json", nothing) + car + prices, 1, "could be placed");
  ends_in_one_sentence(with_prices("hour = 60"), 1, "no [rebuild]");
  ends_in_one_sentence(with_prices("rebuild = { price = 1 }"), 1, "\"hour\"");
  ends_in_one_sentence(with_prices("hour = 60\nrebuild = { price = -1 }"), 1, "price");
  ends_in_one_sentence(
      with_prices("hour = 60\nrebuild = { price = 1 }\nused_unit = { price = 1, bad = \"100 %\" }"), 1,
      "between 0 % and 99 %");
  ends_in_one_sentence(
      with_prices(
          "hour = 60\nrebuild = { price = 1 }\n[[bearing]]\nparts = [\"pinion_hed_bearing\"]\nprice = 1"),
      1, "did you mean \"pinion_head_bearing\"?");
  ends_in_one_sentence(with_prices("hour = 60\nrebuilt = { price = 1 }"), 1, "rebuilt");
  ends_in_one_sentence(with_prices("hour = "), 1, "not TOML");
}

TEST_CASE("compare of the sample says that the bearing is gone, and its JSON fits its schema") {
  const std::string before = source_folder + "/samples/pinion_bearing/ROADTEST.toml",
                    after = source_folder + "/samples/pinion_repaired/ROADTEST.toml";
  const Folder folder;
  const std::string file = folder / "c.json";
  const Ran ran = gearhark_run("compare " + before + " " + after + " --json " + file);
  INFO(ran.complaint);
  REQUIRE(ran.code == 0);
  CHECK_THAT(ran.out, Contains("before and after: GONE") && Contains("no longer heard"));
  CHECK(schema_complaint("comparison", contents(file)) == "");
  CHECK(json::parse(contents(file))["parts"][0]["part"] == "pinion_head_bearing");
}

TEST_CASE("compare says what is wrong with its input") {
  const Folder folder;
  const std::string before = source_folder + "/samples/pinion_bearing/ROADTEST.toml";
  ends_in_one_sentence("compare " + before, 2, "after");
  ends_in_one_sentence("compare " + before + " none.toml", 1, "none.toml");
  ends_in_one_sentence("compare " + before + " " + source_folder + "/samples/wheel_bearing/ROADTEST.toml", 1,
                       "must be of one car");
}

TEST_CASE("listen writes the band alone and, when asked, the imagined fault, and JSON that fits its schema") {
  const Folder folder;
  const std::string test = source_folder + "/samples/pinion_bearing/ROADTEST.toml", file = folder / "x.wav";
  const Ran ran = gearhark_run("listen " + test + " --out " + file + " --half-speed --imagine --json -");
  INFO(ran.complaint);
  REQUIRE(ran.code == 0);
  CHECK(schema_complaint("listening", ran.out) == "");
  CHECK(folder.files() == 3);
  // 22 s at 44100 Hz in 16 bits.
  CHECK(std::filesystem::file_size(file) == Approx(2 * 22 * 44100).epsilon(0.02));
  // What is imagined lasts as long as the run, at the synthesiser's 48 kHz.
  for (const char* imagined : {"x_imagined.wav", "x_imagined_alone.wav"})
    CHECK(std::filesystem::file_size(folder / imagined) == Approx(2 * 22 * 48000).epsilon(0.02));
  ends_in_one_sentence("listen " + test + " --out " + (folder / "no/x.wav"), 1, "can't be written");
  ends_in_one_sentence("listen " + test + " --out x.wav --part gizmo", 2, "no part");
  ends_in_one_sentence("listen " + test + " --out x.wav --fault loud", 2, "--fault");
  ends_in_one_sentence("listen " + test, 2, "--out");
}
