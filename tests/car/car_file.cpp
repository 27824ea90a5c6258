// What a car file may say, and the sentence for each mistake in it.
#include <filesystem>
#include <fstream>

#include "cars.hpp"

using namespace gearhark;
using namespace gearhark::testing;
using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;

namespace {

std::string mistake(const std::string& text) {
  const auto car = read_car(text, "car.toml");
  REQUIRE_FALSE(car);
  INFO(car.error().sentence);
  CHECK(car.error().kind == ErrorKind::input);
  return car.error().sentence;
}

const std::string bearing =
    "[[bearing]]\nid = \"b\"\nshaft = \"input\"\nelements = 9\nelement_diameter = \"7.94 "
    "mm\"\npitch_diameter = \"39.04 mm\"\n";

}  // namespace

TEST_CASE("facts come out as they went in") {
  const Car car = car_from(
      with(transaxle, "\"2 m\"", "\"5.79 m\"\nturns = 3\ntread_pitches = 66") + bearing +
      "[[clearance]]\nid = \"c\"\npart = \"b\"\nnew = \"0.004 in\"\nlimit = \"10 thou\"\nnote = \"cold\"\n");
  CHECK(car.name == "Test");
  CHECK(car.tyre.rolling_circumference.value() == Approx(1.93));
  CHECK(car.tyre.tread_pitches == 66);
  CHECK(car.driven_wheels == std::vector<std::string>{"wheel_rl", "wheel_rr"});
  REQUIRE(car.bearing("b"));
  CHECK(car.bearing("b")->pitch_diameter->value() == Approx(0.03904));
  CHECK(car.part("b")->role == PartRole::input_bearing);
  REQUIRE(car.dimensions.size() == 1);
  CHECK(car.dimensions[0].nominal_new->unit == LengthUnit::inch);
  CHECK(car.dimensions[0].limit->value.value() == Approx(0.000254));
  std::vector<std::string> gears;
  for (const auto& g : car.gears) gears.push_back(g.label);
  CHECK(gears == std::vector<std::string>{"N", "1", "2"});
}

TEST_CASE("the short form and the same box in general form turn alike") {
  const Car general = car_from("gears = [1, 2]\n" + head + R"([[shaft]]
id = "input"
[[shaft]]
id = "output"
[[coupling]]
join = ["engine", "input"]
clutch = true
[[gear_pair]]
id = "gear_pair_1"
driving_shaft = "input"
driven_shaft = "output"
driving = 12
driven = 42
gear = 1
[[gear_pair]]
id = "gear_pair_2"
driving_shaft = "input"
driven_shaft = "output"
driving = 30
driven = 31
gear = 2
loose = "driving"
[[coupling]]
join = ["output", "pinion"]
[final_drive]
pinion = 8
ring = 42
)");
  const Car brief = car_from(transaxle);
  for (const auto* gear : {"1", "2", "N"})
    for (const auto* shaft : {"input", "pinion", "gear_pair_1/loose", "gear_pair_2/loose"}) {
      const Rate a = rates_of(general, gear).at(shaft), b = rates_of(brief, gear).at(shaft);
      CHECK(a.wheel == Approx(b.wheel).margin(1e-9));
      CHECK(a.engine == Approx(b.engine).margin(1e-9));
    }
}

TEST_CASE("a stated ratio of a three-shaft box is that of the whole gear") {
  const Car car =
      car_from(with(three_shaft, "gear = 1\ndriving = 14\ndriven = 34", "gear = 1\nratio = \"3.50\""));
  CHECK(*overall_ratio(car, {"1"}) == Approx(3.50 * 43.0 / 9.0).epsilon(1e-4));
  const auto rates = rates_of(car, "1");
  CHECK(std::abs(rates.at("layshaft").wheel / rates.at("engine").wheel) == Approx(16.0 / 23.0));
}

TEST_CASE("a ratio written as a number or as text carries its rounding") {
  const Car text = car_from(with(transaxle, "pinion = 8\nring = 42", "ratio = \"4.10\"")),
            number = car_from(with(transaxle, "pinion = 8\nring = 42", "ratio = 4.11"));
  CHECK(text.pair("ring_and_pinion")->relative_tolerance == Approx(0.005 / 4.10));
  CHECK(number.pair("ring_and_pinion")->relative_tolerance == Approx(0.005 / 4.11));
  CHECK_FALSE(text.pair("ring_and_pinion")->teeth_known);
}

TEST_CASE("a known designation fills in the sizes and widens the tolerance, and sizes given beat it") {
  const Car car =
      car_from(transaxle +
               "[[bearing]]\nid = \"b\"\nshaft = \"input\"\ndesignation = \"6205\"\n[[bearing]]\nid = "
               "\"c\"\nshaft = \"input\"\ndesignation = \"6205\"\nelements = 8\n");
  CHECK(car.bearing("b")->geometry_known());
  CHECK(car.bearing("b")->relative_tolerance > 0.0);
  CHECK_FALSE(car.bearing("c")->geometry_known());
  CHECK(car.bearing("c")->count == 8);
}

TEST_CASE("each mistake gets one sentence with the place, what was found and what to do") {
  struct Case {
    std::string text, place, found, cure;
  };
  const std::vector<Case> cases{
      // a misspelt key
      {with(transaxle, "cylinders = 4", "cylnders = 4"), "car.toml:4:1:", "\"cylnders\"",
       "did you mean \"cylinders\"?"},
      {with(transaxle, "[gearbox]", "[gear_box]"), "car.toml:7:2:", "\"gear_box\"",
       "did you mean \"gearbox\"?"},
      {with(transaxle, "driven = 42", "teeth = 42"), "car.toml:12:1:", "\"teeth\"", "it takes"},
      // teeth below 5
      {with(transaxle, "driving = 12", "driving = 4"), "car.toml:11:11:", "4 teeth", "5 to 300"},
      // wrong type
      {with(transaxle, "cylinders = 4", "cylinders = \"four\""), "car.toml:4:13:", "\"four\"",
       "a whole number from 1 to 16"},
      {with(transaxle, "name = \"Test\"", "name = 5"), "car.toml:1:8:", "is 5", "text in quotation marks"},
      {with(transaxle, "[engine]\ncylinders = 4", "engine = 4"), "car.toml:3:10:", "is 4", "[engine]"},
      // a wrong unit, or none
      {transaxle + with(bearing, "\"7.94 mm\"", "\"7.94 kg\""), "car.toml:25:20:", "\"kg\"", "0.2mm"},
      {transaxle + with(bearing, "\"7.94 mm\"", "7.94"), "car.toml:25:20:", "7.94", "with its unit"},
      {with(transaxle, "\"2 m\"", "\"2\""), "car.toml:6:12:", "no unit", "1.93m"},
      // an impossible bearing
      {transaxle + with(bearing, "\"7.94 mm\"", "\"17.94 mm\""),
       "car.toml:25:20:", "9 elements of 17.94 mm do not fit", "at most 13.35 mm"},
      {transaxle + with(bearing, "elements = 9", "elements = 2"), "car.toml:24:12:", "is 2", "3 to 100"},
      {transaxle + with(bearing, "pitch_diameter = \"39.04 mm\"\n", ""),
       "car.toml:21:1:", "one of element_diameter and pitch_diameter", "give both"},
      // a duplicate ID
      {transaxle + bearing + bearing, "car.toml:27:1:", "\"b\" is used twice, here and in line 21",
       "another ID"},
      {transaxle + with(bearing, "\"b\"", "\"tyre_fl\""), "car.toml:21:1:", "\"tyre_fl\"", "another ID"},
      // a gear that does not exist
      {transaxle + "[[coupling]]\njoin = [\"engine\", \"input\"]\ngears = [7]\n", "car.toml:23:9:", "\"7\"",
       "N, 1, 2"},
      // a shaft that does not exist, and one tied to nothing
      {transaxle + with(bearing, "\"input\"", "\"imput\""), "car.toml:23:9:", "\"imput\"",
       "did you mean \"input\"?"},
      {transaxle + "[[shaft]]\nid = \"stray\"\n", "car.toml:21:1:", "\"stray\" is tied to nothing",
       "coupling or belt"},
      // a loop whose ratios contradict each other
      {transaxle + "[[gear_pair]]\nid = \"again\"\ndriving_shaft = \"input\"\ndriven_shaft = "
                   "\"pinion\"\ndriving = 20\ndriven = 21\n",
       "car.toml:", "input - gear_pair_1/loose - pinion", "contradict"},
      {transaxle + "[[coupling]]\nhold = \"carrier\"\n", "car.toml:", "nothing could turn", "check"},
      // the engine reaches nothing
      {"gears = [1]\n" + head, "car.toml:", "in gear 1 the engine does not reach", "coupling"},
      // parts that belong together
      {with(transaxle, "[final_drive]\npinion = 8\nring = 42\n", ""), "car.toml:", "no [final_drive]",
       "add it"},
      {with(transaxle, "\"two-shaft\"", "\"two-shift\""), "car.toml:8:8:", "\"two-shift\"",
       "did you mean \"two-shaft\"?"},
      {with(transaxle, "driven = \"rear\"", "driven = \"back\""), "car.toml:2:10:", "\"back\"",
       "front, rear, all"},
      {with(transaxle, "gear = 2", "gear = 1"), "car.toml:14:8:", "gear 1 is there twice", "one pair"},
      {with(transaxle, "\"2 m\"", "\"20 m\""), "car.toml:6:12:", "20.00 m", "check roll_out"},
      {with(transaxle, "roll_out = \"2 m\"", "size = \"16R515\""), "car.toml:6:8:", "\"16R515\"", "165R15"},
      {transaxle + "[[clearance]]\nid = \"c\"\npart = \"ring_and_pinon\"\nnew = \"1 mm\"\n",
       "car.toml:23:8:", "\"ring_and_pinon\"", "did you mean \"ring_and_pinion\"?"},
      {transaxle +
           "[[epicyclic]]\nid = \"e\"\nsun_shaft = \"input\"\nring_shaft = \"pinion\"\nsun = 20\nring = 75\n",
       "car.toml:25:7:", "can't sit evenly", "count again"},
      // not a car file at all
      {"", "car.toml:1:1:", "empty", "models/README.md"},
      {" \n\n", "car.toml:1:1:", "empty", "models/README.md"},
      {"PK\x03\x04 binary", "car.toml:1:", "not TOML", "models/README.md"},
      {with(transaxle, "name = \"Test\"", "name = \"Test"), "car.toml:1:", "not TOML", "models/README.md"},
      {"# nothing but a comment\n", "car.toml:1:1:", "has no \"name\"", "add it"},
  };
  for (const auto& c : cases) {
    const std::string sentence = mistake(c.text);
    INFO(sentence);
    CHECK_THAT(sentence, StartsWith(c.place) && Contains(c.found) && Contains(c.cure));
    CHECK(sentence.find('\n') == std::string::npos);
  }
}

TEST_CASE("a file that is not there is named with the reason") {
  const auto car = load_car("/nowhere/car.toml");
  REQUIRE_FALSE(car);
  CHECK_THAT(car.error().sentence, StartsWith("/nowhere/car.toml:") && Contains("No such file"));
  const auto folder = load_car(std::filesystem::temp_directory_path().string());
  REQUIRE_FALSE(folder);
  CHECK_THAT(folder.error().sentence, Contains("is a folder"));
}

TEST_CASE("cutting a car file short anywhere gives a car or a sentence, never a crash") {
  const std::string whole = three_shaft + bearing;
  for (std::size_t length = 0; length < whole.size(); length += 7) {
    const auto car = read_car(std::string_view(whole).substr(0, length), "car.toml");
    if (!car) CHECK_THAT(car.error().sentence, StartsWith("car.toml:"));
  }
}
