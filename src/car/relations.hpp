// The linear relations behind shaft_rates, for the checks of the car file.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "gearhark/car/driveline.hpp"

namespace gearhark {

// sum of factor x rate = 0 over the shafts named (indices into Car::shafts).
struct Relation {
  std::string id;  // of the pair, epicyclic set, belt or differential; couplings: coupling_id()
  std::vector<std::pair<int, double>> terms;
  bool hold = false;  // a shaft held still, alone or as a member of an epicyclic set
};

std::string coupling_id(const Coupling& coupling);

// Each uncertain ratio (by ID) multiplied by the factor given.
using RatioFactors = std::map<std::string, double, std::less<>>;
std::vector<Relation> relations_of(const Car& car, const DriveState& state, const RatioFactors& factors = {});

// A loop of shafts that the relations allow no turning: the relation that closes it, and the shafts along it.
struct Conflict {
  std::string relation;
  std::vector<std::string> shafts;
};
std::optional<Conflict> find_conflict(const Car& car, const DriveState& state);
std::string to_text(const Conflict& conflict, const DriveState& state);

}  // namespace gearhark
