#include "gearhark/diagnosis/road_test.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "../car/file_table.hpp"
#include "gearhark/diagnosis/bundle.hpp"
#include "speed_file.hpp"

namespace gearhark {
namespace {

using car_file::Mistake;
using car_file::placed;
using car_file::Table;
using Words = std::vector<std::string_view>;

const Words sources{"needle", "satellite"};
const Words clutch_words{"engaged", "pedal down"};
const std::string what = "[[recording]]";

class Reader {
 public:
  Reader(const toml::table& root, const std::string& file)
      : file_(file), top_(root, file, "the road-test file", {"car", "notes", "recording"}) {}

  RoadTest read() {
    out_.notes = top_.text("notes").value_or("");
    out_.car_file = beside(top_.need_text("car"));
    auto car = load_car(out_.car_file);
    if (!car) throw Mistake{std::move(car).error()};
    out_.car = *std::move(car);
    for (const Table& entry : top_.tables(
             "recording", what,
             {"file", "gear", "load", "turn", "clutch", "speed", "speed_source", "speed_file",
              "recording_starts", "speed_between", "engine_speed", "shaft_rate", "from", "to", "notes"}))
      out_.runs.push_back(run(entry));
    if (out_.runs.empty())
      top_.fail(top_.place(),
                "the road-test file lists no recording; add [[recording]] with file, gear, load "
                "and speed");
    return std::move(out_);
  }

 private:
  [[nodiscard]] std::string beside(const std::string& path) const {
    return (std::filesystem::path(file_).parent_path() / path).string();
  }

  [[nodiscard]] Run run(const Table& entry) const {
    Run out;
    out.file = beside(entry.need_text("file"));
    const auto gear = entry.gear("gear");
    if (!gear) entry.fail(entry.place(), "[[recording]] has no \"gear\"; add it, such as gear = 3 or \"N\"");
    out.gear = {*gear};
    out.clutch = entry.word("clutch", clutch_words, 0) == 0 ? Clutch::engaged : Clutch::pedal_down;
    out.load = load(entry, out);
    out.turn = static_cast<Turn>(entry.word("turn", {turn_words.begin(), turn_words.end()}, 0));
    out.speed = speed(entry);
    out.from = time(entry, "from");
    out.to = time(entry, "to");
    if (out.from && out.to && *out.from >= *out.to)
      entry.fail("to", "\"to\" is not after \"from\"; swap or correct them");
    if (const auto why = impossible(out_.car, out)) entry.fail("gear", *why);
    return out;
  }

  [[nodiscard]] static Load load(const Table& entry, const Run& run) {
    if (!entry.has("load") && !run.gear.neutral())
      entry.fail(entry.place(), fmt::format("[[recording]] has no \"load\"; add it: {}",
                                            car_file::listed({load_words.begin(), load_words.end()})));
    return static_cast<Load>(
        entry.word("load", {load_words.begin(), load_words.end()}, static_cast<std::size_t>(Load::neutral)));
  }

  [[nodiscard]] StatedSpeed speed(const Table& entry) const {
    if (entry.has("speed") + entry.has("speed_file") + entry.has("speed_between") +
            entry.has("engine_speed") + entry.has("shaft_rate") !=
        1)
      entry.fail(entry.place(),
                 "[[recording]] needs one of \"speed\" (such as \"45 mph\"), \"speed_file\", "
                 "\"speed_between\", \"engine_speed\" and \"shaft_rate\" (a bench spin)");
    if (entry.has("recording_starts") && !entry.has("speed_file"))
      entry.fail("recording_starts", "\"recording_starts\" says how far into a speed file; there is none");
    if (entry.has("speed_between"))
      return in_place(entry, "speed_between",
                      parse_speed_between(*entry.text(
                          "speed_between", "two speeds in quotation marks, such as \"30 mph and 60 mph\"")));
    if (entry.has("engine_speed"))
      return in_place(entry, "engine_speed",
                      stated_engine_speed(*entry.text(
                          "engine_speed", "an engine speed in quotation marks, such as \"2500 rpm\"")));
    if (entry.has("speed_file")) return from_file(entry);
    if (entry.has("shaft_rate"))
      return in_place(entry, "shaft_rate",
                      stated_shaft_rate(*entry.text("shaft_rate",
                                                    "a shaft speed with its unit in quotation "
                                                    "marks, such as \"1797 rpm\"")));
    StatedSpeed stated =
        in_place(entry, "speed",
                 parse_stated_speed(
                     *entry.text("speed", "a speed with its unit in quotation marks, such as \"45 mph\"")));
    if (entry.word("speed_source", sources, 0) == 1) stated.source = SpeedSource::satellite;
    return stated;
  }
  [[nodiscard]] StatedSpeed from_file(const Table& entry) const {
    return in_place(entry, "speed_file",
                    read_speed_file(beside(entry.need_text("speed_file")), time(entry, "recording_starts")));
  }

  [[nodiscard]] static std::optional<Seconds> time(const Table& entry, std::string_view key) {
    const auto text = entry.text(key, "a time in quotation marks, such as \"0:05\"");
    if (!text) return std::nullopt;
    return in_place(entry, key, parse_time(*text));
  }

  template <class T>
  static T in_place(const Table& entry, std::string_view key, Result<T> result) {
    if (!result) entry.fail(key, result.error().sentence);
    return *std::move(result);
  }

  std::string file_;
  Table top_;
  RoadTest out_;
};

}  // namespace

Result<RoadTest> read_road_test(std::string_view toml_text, const std::string& file) {
  try {
    const toml::table root = toml::parse(toml_text, file);
    return Reader(root, file).read();
  } catch (const toml::parse_error& e) {
    return Error{placed(file, e.source().begin,
                        fmt::format("this is not TOML ({}); README.md shows how a road-test file is written",
                                    e.description()))};
  } catch (const Mistake& m) {
    return m.error;
  }
}

Result<RoadTest> load_road_test(const std::string& path) {
  if (looks_like_bundle(path)) {
    const auto bundle = load_bundle(path);
    if (!bundle) return bundle.error();
    return road_test_of(*bundle);
  }
  const auto text = text_of_file(path, "the road-test file");
  if (!text) return text.error();
  return read_road_test(*text, path);
}

std::optional<std::string> impossible(const Car& car, const Run& run) {
  if (std::find(car.gears.begin(), car.gears.end(), run.gear) == car.gears.end()) {
    Words labels;
    for (const Gear& gear : car.gears) labels.push_back(gear.label);
    return fmt::format("the car has no gear \"{}\"; its gears are {}", run.gear.label,
                       car_file::listed(labels));
  }
  const bool untied = run.gear.neutral() || run.clutch == Clutch::pedal_down;
  if (untied && run.load != Load::neutral)
    return fmt::format(
        "the load can't be \"{}\" while gear \"{}\" or the clutch pedal frees the engine from "
        "the wheels; write load \"neutral\"",
        to_text(run.load), run.gear.label);
  if (!untied && run.load == Load::neutral)
    return fmt::format("the load can't be \"neutral\" in gear {}; write drive, float or coast, or gear \"N\"",
                       run.gear.label);
  return std::nullopt;
}

}  // namespace gearhark
