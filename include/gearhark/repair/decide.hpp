// Rebuild, a used unit, one bearing, or drive on and listen again: what each is expected to cost, from the
// probabilities of a diagnosis and the shop's own prices.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "gearhark/car/car.hpp"
#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/units/quantity.hpp"
#include "gearhark/units/result.hpp"

namespace gearhark {

// Parts and labour, in the shop's currency.
struct Job {
  double price = 0.0, hours = 0.0;
};

struct BearingJob {
  std::vector<std::string> parts;  // part IDs that it renews, at least one
  Job job;
};

struct DriveOn {
  Job listening;         // recording again and hearing it
  Probability worse;     // chance that the fault gives way before then, if there is one
  double failure = 0.0;  // what that would cost in all
};

// The prices file (TOML):
//
//   currency = "EUR"             # any word
//   hour = 65                    # what an hour of the shop costs
//   unit = ["gear_pair_3", ...]  # part IDs in the unit; when left out: gearbox and final drive
//   [rebuild]                    # needed
//   price = 780
//   hours = 24
//   [used_unit]
//   price = 350
//   hours = 9
//   bad = "25 %"                 # chance that such a unit is itself bad
//   [[bearing]]                  # renewing single parts; several may be listed
//   parts = ["pinion_head_bearing"]
//   price = 60
//   hours = 14
//   [drive_on]
//   price = 0
//   hours = 0.5                  # listening again
//   worse = "20 %"
//   failure = 1600
//   [elsewhere]                  # curing a fault that is outside the unit; 0 when left out
//   price = 150
//   hours = 3
struct Prices {
  std::string currency = "EUR";
  double hour = 0.0;
  std::vector<std::string> unit;
  Job rebuild;
  struct UsedUnit {
    Job job;
    Probability bad;
  };
  std::optional<UsedUnit> used_unit;
  std::vector<BearingJob> bearings;
  std::optional<DriveOn> drive_on;
  std::optional<Job> elsewhere;
  [[nodiscard]] double cost(const Job& job) const { return job.price + job.hours * hour; }
};

// `file` is only named in messages. Errors: one sentence "FILE:LINE:COLUMN: found, expected, cure"; a part
// that the car lacks among them.
Result<Prices> read_prices(std::string_view toml_text, std::string_view file, const Car& car);
// The same from disk.
Result<Prices> load_prices(const std::string& path, const Car& car);

// What a diagnosis says of one part.
struct SuspectChance {
  std::string part, name;
  Probability probability;
};
struct Chances {
  std::string car_name;
  std::string verdict;  // its words
  std::vector<SuspectChance> suspects;
  Probability no_fault, unexplained;
};
Chances chances_of(const Diagnosis& diagnosis);

enum class OptionKind { rebuild, used_unit, replace_parts, drive_on };
std::string to_text(OptionKind kind);  // "rebuild", "used unit", "replace parts", "drive on"

struct Option {
  OptionKind kind = OptionKind::rebuild;
  std::string name;                     // "rebuild the unit", "renew the pinion head bearing"
  std::vector<std::string> parts;       // replace_parts: what it renews
  double outlay = 0.0;                  // what the first try costs
  double expected = 0.0;                // until the noise is cured
  Probability cures;                    // that the first try cures the fault, if it is heard rightly
  double wrong_guess = 0.0;             // spent in vain if it does not
  bool advised_against = false;         // driving on can hurt: never counted as the cheapest
  std::vector<std::string> break_even;  // one sentence each
};

struct Decision {
  Chances chances;
  std::string currency;
  Probability in_unit, elsewhere, no_fault;
  std::vector<Option> options;            // cheapest expected first, those advised against last
  std::optional<double> used_break_even;  // chance that a used unit is good, above which it is the better bet
  std::vector<std::string> cautions;      // first
  std::vector<std::string> remarks;
};

// Costs, until the noise is cured. With p the probability that the fault is in the unit, R the rebuild, U the
// used unit and g the chance that one is good, S renewing single parts and q the probability that it is one
// of them, W = min(R, U/g), E the cure elsewhere at probability e:
//   rebuild R + eE; used unit U/g + eE (a bad one must be bought again, so the number of tries is geometric);
//   single parts S + (p - q) W + eE; drive on L + (p + e) ((1 - w) best of those + w F).
// Decision analysis by expected value: Raiffa and Schlaifer, Applied Statistical Decision Theory, 1961.
Decision decide(const Car& car, const Chances& chances, const Prices& prices);

}  // namespace gearhark
