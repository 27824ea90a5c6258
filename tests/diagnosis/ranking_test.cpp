#include "gearhark/diagnosis/ranking.hpp"

#include <catch2/catch.hpp>
#include <cmath>

using namespace gearhark;

namespace {

Car two_bearings() {
  Car car;
  const auto add = [&](const char* id, PartRole role) {
    Part part;
    part.id = id;
    part.role = role;
    car.parts.push_back(part);
  };
  add("head", PartRole::pinion_head_bearing);
  add("left", PartRole::wheel_bearing);
  add("right", PartRole::wheel_bearing);
  return car;
}

Candidate race(const std::string& part, double log_factor, double fundamental) {
  Candidate candidate;
  candidate.part = part;
  candidate.fault = Fault::outer_race;
  candidate.turned = true;
  candidate.log_factor = log_factor;
  candidate.fundamental = {fundamental};
  candidate.visibility = {1.0};
  return candidate;
}

double sum(const Ranking& ranking) {
  double all = ranking.no_fault.value() + ranking.unexplained.value();
  for (const RankedPart& part : ranking.parts) all += part.probability.value();
  return all;
}

}  // namespace

TEST_CASE("probabilities of the suspects, no fault and the unexplained add up to one") {
  for (const double heard : {-1.0, 0.0, 5.0, 40.0, 400.0}) {
    const Ranking ranking = rank(two_bearings(), {race("head", heard, 15.0), race("left", -0.5, 5.0)});
    CHECK(sum(ranking) == Approx(1.0).margin(1e-12));
  }
}

TEST_CASE("with nothing heard no fault comes before every suspect") {
  const Ranking ranking = rank(two_bearings(), {race("head", -0.4, 15.0), race("left", -0.5, 5.0)});
  for (const RankedPart& part : ranking.parts) CHECK(part.probability < ranking.no_fault);
}

TEST_CASE("more evidence never makes a part less likely") {
  double before = 0.0;
  for (const double heard : {-0.5, 0.5, 3.0, 8.0, 11.9, 12.1, 30.0, 100.0}) {
    const Ranking ranking = rank(two_bearings(), {race("head", heard, 15.0), race("left", 2.0, 5.0)});
    for (const RankedPart& part : ranking.parts)
      if (part.part == "head") {
        CHECK(part.probability.value() >= before);
        before = part.probability.value();
      }
  }
}

namespace {

// Log odds of the pinion head bearing against "no fault".
double odds(const Candidate& head) {
  const Ranking ranking = rank(two_bearings(), {head, race("left", -0.5, 5.0)});
  for (const RankedPart& part : ranking.parts)
    if (part.part == "head") return std::log(part.probability.value() / ranking.no_fault.value());
  return NAN;
}

}  // namespace

TEST_CASE("little evidence counts as it is, much for less") {
  // The odds rise by the factor by which the evidence does: Bayes' rule. Model error rules further up.
  CHECK(odds(race("head", 3.0, 15.0)) - odds(race("head", 0.5, 15.0)) == Approx(2.5));
  const double middle = odds(race("head", 9.0, 15.0)) - odds(race("head", 7.0, 15.0)),
               much = odds(race("head", 32.0, 15.0)) - odds(race("head", 30.0, 15.0));
  CHECK(middle < 2.0);
  CHECK(much < middle);
  CHECK(much > 0.0);
}

TEST_CASE("a cage's line by itself is no finding") {
  // As much as the two ball records of the open bearing data show of a cage.
  Candidate cage = race("head", 8.0, 0.4);
  cage.fault = Fault::cage;
  CHECK(odds(cage) < 0.0);
  CHECK(odds(race("head", 8.0, 15.0)) > 3.0);
}

TEST_CASE("what runs say against a fault is not drowned by how loud it is in another") {
  for (const double nats : {14.0, 30.0}) {
    Candidate denied = race("head", nats, 15.0);
    denied.against = -2.0;
    CHECK(odds(denied) - odds(race("head", nats, 15.0)) == Approx(-2.0).epsilon(0.2));
  }
}

TEST_CASE("what tells two suspects for the same lines apart counts alike, however much is heard of both") {
  std::vector<double> lost;
  for (const double cause : {8.0, 14.0, 30.0}) {
    Candidate behind = race("head", cause - 3.0, 15.0);
    behind.behind = 3.0;
    lost.push_back(odds(race("head", cause, 15.0)) - odds(behind));
  }
  CHECK(lost[0] > 0.6);  // in the ranking's slope alone it would be 0.5 of 3 nats at the end
  CHECK(lost[0] < 3.0);  // model error is in it, too
  CHECK(lost[1] == Approx(lost[0]));
  CHECK(lost[2] == Approx(lost[0]));
}

TEST_CASE("what is enough to be heard makes a part likelier than not by far, whatever it is") {
  const Car car = two_bearings();
  for (const Knowledge knowledge : {Knowledge::exact, Knowledge::count_only, Knowledge::nothing})
    for (const char* part : {"head", "left"}) {
      Candidate candidate = race(part, 0.0, 15.0);
      candidate.knowledge = knowledge;
      candidate.log_factor = enough_heard(candidate, car);
      const Ranking ranking = rank(car, {candidate});
      CHECK(std::log(ranking.parts.front().probability.value() / ranking.no_fault.value()) == Approx(1.1));
    }
}

TEST_CASE("parts that make the same lines share one place and name each other") {
  const Ranking ranking =
      rank(two_bearings(), {race("head", -0.4, 15.0), race("left", 20.0, 5.0), race("right", 20.0, 5.0)});
  REQUIRE(ranking.parts.front().part == "left");
  CHECK(ranking.parts.front().cannot_be_told_from == std::vector<std::string>{"right"});
  CHECK(ranking.parts.size() == 2);
}

TEST_CASE("a part that does not turn in any run is not ranked, nor is what healthy machines do") {
  Candidate still = race("head", 30.0, 0.0);
  still.turned = false;
  Candidate healthy = race("left", 30.0, 5.0);
  healthy.healthy = true;
  CHECK(rank(two_bearings(), {still, healthy}).parts.empty());
}

TEST_CASE("what teardowns showed shifts the probabilities as far as they outweigh sixty cases") {
  const std::vector<Candidate> heard{race("head", 8.0, 15.0), race("left", 5.0, 5.0)};
  const Ranking without = rank(two_bearings(), heard);
  // Twenty outer races of twenty: 60 x 0.1686 + 20 of 80 instead of 0.1686.
  const Experience races = experience_from({{Fault::outer_race, 20}}, 0);
  CHECK(races.findings == 20);
  CHECK(races.of_fault.at(Fault::outer_race) == Approx(std::log((60 * 0.1686 + 20) / 80 / 0.1686)));
  CHECK(races.of_none < 0.0);
  CHECK(rank(two_bearings(), heard, races).parts[0].probability.value() >
        without.parts[0].probability.value());
  const Experience sound = experience_from({}, 20);
  const Ranking with_sound = rank(two_bearings(), heard, sound);
  CHECK(with_sound.no_fault.value() > without.no_fault.value());
  // Evidence is what was heard here, whatever was found elsewhere.
  CHECK(with_sound.parts[0].evidence == Approx(without.parts[0].evidence));
  double sum = with_sound.no_fault.value() + with_sound.unexplained.value();
  for (const RankedPart& part : with_sound.parts) sum += part.probability.value();
  CHECK(sum == Approx(1.0));
}
