#include "gearhark/diagnosis/road_test.hpp"

#include <catch2/catch.hpp>

#include "../folder.hpp"
#include "../heron.hpp"
#include "gearhark/diagnosis/diagnosis.hpp"

using namespace gearhark;
using test::heron_file;

namespace {

std::string with_recording(const std::string& lines) {
  return "car = \"" + heron_file + "\"\n[[recording]]\n" + lines;
}

// The mistake in a road test, without the folder it lies in.
std::string mistake(const std::string& text) {
  const Folder folder;
  const auto read = load_road_test(folder.write("t.toml", text));
  REQUIRE_FALSE(read);
  CHECK(read.error().kind == ErrorKind::input);
  const std::string sentence = read.error().sentence, prefix = folder / "";
  return sentence.starts_with(prefix) ? sentence.substr(prefix.size()) : sentence;
}

const std::string third = "file = \"a.m4a\"\ngear = 3\nload = \"drive\"\n";

}  // namespace

TEST_CASE("a road test names its car and its runs, with paths beside it") {
  const Folder folder;
  const auto read = load_road_test(folder.write(
      "t.toml",
      "notes = \"wet road\"\n" +
          with_recording(third + "speed = \"45 mph\"\nfrom = \"0:05\"\nto = \"25\"\n") +
          "[[recording]]\nfile = \"b.wav\"\ngear = \"N\"\nspeed = \"60 km/h\"\nspeed_source = \"satellite\"\n"
          "[[recording]]\nfile = \"/c.wav\"\ngear = 2\nclutch = \"pedal down\"\nturn = \"left\"\n"
          "shaft_rate = \"600 rpm\"\n" +
          std::string("load = \"neutral\"\n")));
  REQUIRE(read);
  CHECK(read->car.name == "Tarn Heron 1300 (invented)");
  CHECK(read->notes == "wet road");
  REQUIRE(read->runs.size() == 3);
  const Run& first = read->runs[0];
  CHECK(first.file == folder / "a.m4a");
  CHECK(first.gear.label == "3");
  CHECK(first.load == Load::drive);
  CHECK(first.turn == Turn::straight);
  CHECK(first.from->value() == 5.0);
  CHECK(first.to->value() == 25.0);
  CHECK(first.speed.source == SpeedSource::needle);
  CHECK(first.speed.unit == SpeedUnit::mph);
  CHECK(first.speed.points.at(0).speed.value() == Approx(20.1168));  // 45 x 0.44704
  CHECK(read->runs[1].load == Load::neutral);
  CHECK(read->runs[1].speed.source == SpeedSource::satellite);
  CHECK(read->runs[2].file == "/c.wav");
  CHECK(read->runs[2].clutch == Clutch::pedal_down);
  CHECK(read->runs[2].turn == Turn::left);
  CHECK(read->runs[2].speed.shaft_rate->value() == Approx(10.0));
}

TEST_CASE("a satellite log beside the road test gives the speed second by second") {
  const Folder folder;
  static_cast<void>(folder.write("gps.csv", "time_s,speed_mps\n0,10.46\n1,10.54\n"));
  const auto read =
      load_road_test(folder.write("t.toml", with_recording(third + "speed_file = \"gps.csv\"\n")));
  REQUIRE(read);
  const StatedSpeed& speed = read->runs[0].speed;
  CHECK(speed.source == SpeedSource::satellite);
  REQUIRE(speed.points.size() == 2);
  CHECK(speed.points[1].time.value() == 1.0);
  CHECK(speed.points[1].speed.value() == Approx(10.54));
}

TEST_CASE("speed is constant, a sweep, or given at times") {
  const auto constant = parse_stated_speed("72 km/h"), sweep = parse_stated_speed("30mph to 60mph"),
             steps = parse_stated_speed("0:00 30 mph, 0:20 50 mph, 1:00 50 mph");
  REQUIRE(constant);
  REQUIRE(constant->points.size() == 1);
  CHECK(constant->points[0].speed.value() == Approx(20.0));
  REQUIRE(sweep);
  REQUIRE(sweep->points.size() == 2);
  CHECK(sweep->points[1].time == end_of_run);
  CHECK(sweep->points[1].speed.value() == Approx(60 * 0.44704));
  REQUIRE(steps);
  REQUIRE(steps->points.size() == 3);
  CHECK(steps->points[1].time.value() == 20.0);
  CHECK(steps->points[2].time.value() == 60.0);
  CHECK(steps->unit == SpeedUnit::mph);
}

TEST_CASE("a range of speeds, an engine speed and the start in a log are understood") {
  const auto range = parse_speed_between("30 mph and 60 mph");
  REQUIRE(range);
  CHECK(range->source == SpeedSource::range);
  CHECK(range->points[1].speed.value() == Approx(60 * 0.44704));
  CHECK_FALSE(parse_speed_between("60 mph and 30 mph"));
  CHECK_FALSE(parse_speed_between("30 mph"));
  const auto engine = stated_engine_speed("2400 rpm");
  REQUIRE(engine);
  CHECK(engine->engine_rate->value() == Approx(40.0));
  const Folder folder;
  static_cast<void>(folder.write("gps.csv", "time_s,speed_mps\n0,10.46\n1,10.54\n"));
  const auto read = load_road_test(folder.write(
      "t.toml", with_recording(third + "speed_file = \"gps.csv\"\nrecording_starts = \"0:01\"\n")));
  REQUIRE(read);
  CHECK(read->runs[0].speed.points[1].time.value() == Approx(0.0).margin(1e-9));
}

TEST_CASE("a speed that can't be says what would be right") {
  const auto sentence = [](std::string_view text) {
    const auto speed = parse_stated_speed(text);
    REQUIRE_FALSE(speed);
    return speed.error().sentence;
  };
  CHECK(sentence("45") == "the speed \"45\" has no unit; write for example 45mph, 72km/h, 20m/s or 39kn");
  CHECK(sentence("0 mph") == "the speed \"0 mph\" can't be right; expected more than 0 and at most 311 mph");
  CHECK(sentence("900mph").starts_with("the speed \"900mph\" can't be right"));
  CHECK(sentence("-5 km/h").starts_with("the speed \"-5 km/h\" can't be right"));
  CHECK(sentence("0:20 30mph, 0:10 50mph").find("is not after the one before it") != std::string::npos);
  CHECK(sentence("0:20").find("is not a time and a speed") != std::string::npos);
  CHECK(sentence("fast").find("is not a speed") != std::string::npos);
  CHECK_FALSE(stated_shaft_rate("0 rpm"));
  CHECK_FALSE(stated_shaft_rate("1797"));
}

TEST_CASE("every mistake in a road test is one sentence with its place") {
  CHECK(mistake("") == "t.toml:1:1: the road-test file has no \"car\"; add it");
  CHECK(mistake("car = \"" + heron_file + "\"\n")
            .starts_with("t.toml:1:1: the road-test file lists no recording"));
  CHECK(mistake("car = \"nowhere.toml\"\n").find("nowhere.toml: the car file can't be read") !=
        std::string::npos);
  CHECK(mistake("car = \n").starts_with("t.toml:1:7: this is not TOML"));
  CHECK(mistake(with_recording(third + "speeed = \"45 mph\"\n")) ==
        "t.toml:6:1: [[recording]] has no \"speeed\"; did you mean \"speed\"?");
  CHECK(mistake(with_recording(third)).starts_with("t.toml:2:1: [[recording]] needs one of \"speed\""));
  CHECK(mistake(with_recording(third + "speed = 45\n")) ==
        "t.toml:6:9: \"speed\" of [[recording]] is 45; expected a speed with its unit in quotation marks, "
        "such as "
        "\"45 mph\"");
  CHECK(mistake(with_recording(third + "speed = \"45\"\n"))
            .starts_with("t.toml:6:9: the speed \"45\" has no unit"));
  CHECK(mistake(with_recording(third + "speed = \"900 mph\"\n"))
            .starts_with("t.toml:6:9: the speed \"900 mph\""));
  CHECK(mistake(with_recording(third + "speed_file = \"none.csv\"\n")).starts_with("t.toml:6:14: "));
  CHECK(mistake(with_recording(third + "speed = \"45 mph\"\nfrom = \"soon\"\n"))
            .starts_with("t.toml:7:8: \"soon\""));
  CHECK(mistake(with_recording(third + "speed = \"45 mph\"\nfrom = \"9\"\nto = \"4\"\n"))
            .starts_with("t.toml:8:6: "));
  CHECK(mistake(with_recording("file = \"a.wav\"\ngear = 7\nload = \"drive\"\nspeed = \"45 mph\"\n")) ==
        "t.toml:4:8: the car has no gear \"7\"; its gears are N, 1, 2, 3, 4, R");
  CHECK(mistake(with_recording("gear = 3\n")).starts_with("t.toml:2:1: [[recording]] has no \"file\""));
  CHECK(mistake(with_recording("file = \"a.wav\"\ngear = 3\nspeed = \"45 mph\"\n"))
            .starts_with("t.toml:2:1: [[recording]] has no \"load\""));
  CHECK(mistake(with_recording("file = \"a.wav\"\ngear = 3\nload = \"pull\"\nspeed = \"45 mph\"\n"))
            .starts_with("t.toml:5:8: \"load\" of [[recording]] is \"pull\"; expected one of: drive, float"));
  CHECK(mistake(with_recording("file = \"a.wav\"\ngear = \"N\"\nload = \"drive\"\nspeed = \"45 mph\"\n"))
            .starts_with("t.toml:4:8: the load can't be \"drive\""));
  CHECK(mistake(with_recording("file = \"a.wav\"\ngear = 3\nload = \"neutral\"\nspeed = \"45 mph\"\n"))
            .starts_with("t.toml:4:8: the load can't be \"neutral\" in gear 3"));
}

TEST_CASE("a road-test file that is missing or a folder can't be read") {
  const auto missing = load_road_test("/nowhere/t.toml"), folder = load_road_test("/");
  REQUIRE_FALSE(missing);
  CHECK(missing.error().sentence.starts_with("/nowhere/t.toml: the road-test file can't be read"));
  REQUIRE_FALSE(folder);
}

TEST_CASE("a run is cut out of its recording, its speed with it") {
  Run run;
  run.file = "a.wav";
  run.from = Seconds(2);
  run.to = Seconds(5);
  run.speed = *parse_stated_speed("0:02 30 mph, 0:05 60 mph");
  Recording whole{{}, 10.0, std::vector<float>(100)};
  for (std::size_t i = 0; i < 100; ++i) whole.samples[i] = static_cast<float>(i);
  const auto cut = run_sound(run, whole);
  REQUIRE(cut);
  CHECK(cut->recording.samples.size() == 30);
  CHECK(cut->recording.samples.front() == 20.0F);
  CHECK(cut->run.speed.points[0].time.value() == 0.0);
  CHECK(cut->run.speed.points[1].time.value() == 3.0);
  run.speed = *parse_stated_speed("30 mph to 60 mph");
  CHECK(run_sound(run, whole)->run.speed.points[1].time.value() == Approx(3.0));
  run.from = Seconds(12);
  run.to.reset();
  const auto outside = run_sound(run, whole);
  REQUIRE_FALSE(outside);
  CHECK(outside.error().sentence.starts_with("a.wav: the part from 12.0 s"));
}

TEST_CASE("a run is the same whether its recording was loaded whole or from the run's start") {
  Run run;
  run.file = "a.wav";
  run.from = Seconds(2);
  run.to = Seconds(5);
  run.speed = *parse_stated_speed("0:02 30 mph, 0:05 60 mph");
  const Recording part{{}, 10.0, std::vector<float>(30, 0.5F)};
  const auto cut = run_sound(run, part, Seconds(2.0));
  REQUIRE(cut);
  CHECK(cut->recording.samples.size() == 30);
  CHECK(cut->run.speed.points[0].time.value() == 0.0);
  CHECK(cut->run.speed.points[1].time.value() == 3.0);
  run.to = Seconds(9);
  CHECK_FALSE(run_sound(run, part, Seconds(2.0)));
}
