// The invented cars in models/ read, drive in every gear and have parts to suspect.
#include <catch2/catch.hpp>
#include <filesystem>
#include <string>
#include <vector>

#include "gearhark/car/car.hpp"
#include "gearhark/car/driveline.hpp"
#include "gearhark/car/lines.hpp"

using namespace gearhark;

namespace {

std::vector<std::string> model_files() {
  std::vector<std::string> out;
  for (const auto& entry : std::filesystem::directory_iterator(std::string(GEARHARK_SOURCE_DIR) + "/models"))
    if (entry.path().extension() == ".toml") out.push_back(entry.path().string());
  return out;
}

Car model(const std::string& path) {
  auto car = load_car(path);
  INFO((car ? "" : car.error().sentence));
  REQUIRE(car);
  return *car;
}

}  // namespace

TEST_CASE("there are at least four model cars, and each reads without a mistake") {
  REQUIRE(model_files().size() >= 4);
  for (const auto& path : model_files()) CHECK(model(path).name.find("(invented)") != std::string::npos);
}

TEST_CASE("every model car's engine turns between 0.5 and 80 times per wheel turn in every gear") {
  for (const auto& path : model_files()) {
    const Car car = model(path);
    for (const auto& gear : car.gears) {
      if (gear.neutral()) continue;
      const auto ratio = overall_ratio(car, gear);
      INFO(path << " " << gear.label);
      REQUIRE(ratio);
      CHECK(*ratio > 0.5);
      CHECK(*ratio < 80.0);
    }
  }
}

TEST_CASE("every bearing, joint and tyre of a model car is suspected in some state") {
  for (const auto& path : model_files()) {
    const Car car = model(path);
    std::vector<std::string> suspected;
    for (const auto& gear : car.gears)
      for (const auto clutch : {Clutch::engaged, Clutch::pedal_down})
        for (const auto& family : fault_families(car, {gear, clutch}, *shaft_rates(car, {gear, clutch})))
          suspected.push_back(family.part);
    for (const auto& part : car.parts) {
      const bool judged_otherwise = part.role == PartRole::engine || part.role == PartRole::machine;
      INFO(path << " " << part.id);
      CHECK((judged_otherwise || std::find(suspected.begin(), suspected.end(), part.id) != suspected.end()));
    }
  }
}
