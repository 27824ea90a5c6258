// tests/practice/run on a made-up case of noise: its car file and road test must be ones that the program
// takes.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "program.hpp"

using namespace gearhark;
using nlohmann::json;

namespace {

const char* const transaxle = R"({"case": "case_000", "vehicle": {
  "layout": "rear_transaxle", "tyre": "165R15", "rolling_circumference_m": 1.98,
  "engine": {"cylinders": 4}, "generator_belt_ratio": 2.0,
  "gear_pairs": [{"id": "gear_pair_3", "gear": 3, "driving_teeth": 27, "driven_teeth": 34, "loose": "driving"}],
  "final_drive": {"id": "ring_and_pinion", "pinion_teeth": 8, "ring_teeth": 35},
  "bearings": [
    {"id": "pinion_head_bearing", "shaft": "pinion", "rotating_ring": "inner", "n": 17, "d": 8.55, "D": 59.87,
     "contact_deg": 25, "type": "taper"},
    {"id": "carrier_bearing_left", "shaft": "ring", "rotating_ring": "inner", "n": 19, "type": "taper"},
    {"id": "wheel_bearing_fl", "shaft": "fl", "rotating_ring": "outer", "n": 20, "type": "taper"},
    {"id": "generator_bearing", "shaft": "generator", "rotating_ring": "inner", "n": 9, "type": "ball"}],
  "components": ["ring_and_pinion"]},
 "recordings": [
  {"file": "a.wav", "profile": "sweep", "gear": 3, "load": "drive", "turn": "left", "duration_s": 6,
   "speed": {"source": "speedo", "start_kmh": 50, "end_kmh": 70}},
  {"file": "a.wav", "profile": "coast", "gear": "N", "load": "neutral", "turn": "straight", "duration_s": 6,
   "speed": {"source": "gps", "file": "gps.csv"}}]})";

const char* const three_shaft = R"({"case": "case_001", "vehicle": {
  "layout": "front_engine_live_axle", "tyre": "165R15", "rolling_circumference_m": 1.98,
  "engine": {"cylinders": 6}, "generator_belt_ratio": 2.0,
  "gear_pairs": [{"id": "gear_pair_3", "gear": 3, "driving_teeth": 26, "driven_teeth": 24, "loose": "driven"}],
  "input_pair": {"id": "input_pair", "driving_teeth": 16, "driven_teeth": 23}, "direct_gear": 4,
  "final_drive": {"id": "ring_and_pinion", "pinion_teeth": 9, "ring_teeth": 43},
  "bearings": [
    {"id": "countershaft_bearing_front", "shaft": "counter", "rotating_ring": "inner", "n": 7, "type": "ball"},
    {"id": "pilot_bearing", "shaft": "main", "outer_shaft": "input", "rotating_ring": "both", "n": 14, "type": "needle"}],
  "components": ["propshaft_joint_front", "propshaft_joint_rear"]},
 "recordings": [
  {"file": "a.wav", "profile": "constant", "gear": 4, "load": "float", "turn": "straight", "duration_s": 6,
   "speed": {"source": "speedo", "start_kmh": 60, "end_kmh": 60}}]})";

}  // namespace

TEST_CASE("the practice runner answers every case, and goes on past one that it can't") {
  const Folder folder;
  const std::string sound = wav(noise(6.0, 16000), 16000);
  for (const char* name : {"case_000", "case_001", "case_002"})
    std::filesystem::create_directory(folder / name);
  static_cast<void>(folder.write("case_000/case.json", transaxle));
  static_cast<void>(folder.write("case_000/a.wav", sound));
  static_cast<void>(
      folder.write("case_000/gps.csv", "time_s,speed_mps\n0,15\n1,14.8\n2,14.6\n3,14.5\n4,14.3\n5,14.2\n"));
  static_cast<void>(folder.write("case_001/case.json", three_shaft));
  static_cast<void>(folder.write("case_001/a.wav", sound));
  static_cast<void>(folder.write("case_002/case.json", "{}"));
  const std::string out = folder / "out", said = folder / "said";
  const int status = std::system((source_folder + "/tests/practice/run " + (folder / "") + " " + out +
                                  " --program " GEARHARK_PROGRAM " >" + said + " 2>&1")
                                     .c_str());
  INFO(contents(said));
  CHECK(status != 0);
  CHECK(contents(said).find("2 of 3 done, 1 failed") != std::string::npos);
  for (const char* name : {"case_000", "case_001"})
    CHECK(json::parse(contents(out + "/" + name + "/diagnosis.json"))["format"] == "gearhark diagnosis");
}
