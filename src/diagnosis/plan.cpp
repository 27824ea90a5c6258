#include "gearhark/diagnosis/plan.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "outcomes.hpp"

namespace gearhark {
namespace {

constexpr double no_fault = 0.15, no_fault_of_suspects = 0.05;  // who names suspects has heard something
constexpr double of_suspects = 0.75;   // where suspects were named; the rest is for the other parts
constexpr double alike_above = 0.6;    // chance of taking one for the other
constexpr double unheard_below = 1.0;  // standard deviations, all runs together

bool is_suspect(const std::vector<std::string>& suspects, const std::string& part) {
  return std::find(suspects.begin(), suspects.end(), part) != suspects.end();
}

// Every fault of every part in any state of the car; a part's representative fault first.
std::map<std::string, std::vector<Fault>> faults_of_parts(const Car& car) {
  std::map<std::string, std::vector<Fault>> faults;
  std::vector<DriveState> states{{Gear{"N"}, Clutch::pedal_down}};
  for (const Gear& gear : car.gears) states.push_back({gear, Clutch::engaged});
  for (const DriveState& state : states) {
    const auto rates = shaft_rates(car, state);
    if (!rates) continue;
    for (const Family& family : fault_families(car, state, *rates)) {
      auto& known = faults[family.part];
      if (std::find(known.begin(), known.end(), family.fault) == known.end()) known.push_back(family.fault);
    }
  }
  return faults;
}

double entropy(const std::vector<Hypothesis>& hypotheses) {
  std::map<std::string_view, double> parts;
  double rest = 1.0;
  for (const Hypothesis& h : hypotheses) {
    parts[h.part] += h.probability.value();
    rest -= h.probability.value();
  }
  double sum = rest > 0.0 ? -rest * std::log(rest) : 0.0;
  for (const auto& [part, p] : parts) sum -= p > 0.0 ? p * std::log(p) : 0.0;
  return sum;
}

// Slow things last: the engine is warm, the road is known, and gears come in order.
void put_in_driving_order(std::vector<NextRun>& runs) {
  std::stable_sort(runs.begin(), runs.end(), [](const NextRun& a, const NextRun& b) {
    return std::tuple(a.gear.neutral(), a.turn != Turn::straight, a.gear.label, a.load) <
           std::tuple(b.gear.neutral(), b.turn != Turn::straight, b.gear.label, b.load);
  });
}

// Parts of which any fault can hardly be told from some fault of the other, grouped.
class AfterRuns {
 public:
  AfterRuns(const Car& car, const std::vector<Hypothesis>& hypotheses, const std::vector<NextRun>& runs)
      : car_(car), outcomes_(hypotheses.size()) {
    Foreseen foreseen(car, hypotheses);
    for (const NextRun& run : runs) outcomes_ += Outcomes(foreseen.heard_in(run));
    for (std::size_t i = 0; i < hypotheses.size(); ++i) {
      auto at = std::find_if(parts_.begin(), parts_.end(),
                             [&](const Members& m) { return m.part == hypotheses[i].part; });
      if (at == parts_.end()) at = parts_.insert(parts_.end(), Members{hypotheses[i].part, {}});
      at->faults.push_back(i);
    }
  }

  [[nodiscard]] bool heard(std::string_view part) const {
    const Members* members = find(part);
    return members && std::any_of(members->faults.begin(), members->faults.end(), [&](std::size_t i) {
             return outcomes_.strength_squared(i) > unheard_below * unheard_below;
           });
  }

  [[nodiscard]] std::vector<std::vector<std::string>> alike(const std::vector<std::string>& asked) const {
    std::vector<std::vector<std::string>> groups;
    std::set<std::string> grouped;
    for (const std::string& a : asked) {
      if (grouped.contains(a) || !heard(a)) continue;
      std::vector<std::string> group{part_name(car_, a)};
      for (const std::string& b : asked)
        if (a != b && !grouped.contains(b) && heard(b) && confusable(*find(a), *find(b)) > alike_above) {
          group.push_back(part_name(car_, b));
          grouped.insert(b);
        }
      if (group.size() > 1) groups.push_back(std::move(group));
    }
    return groups;
  }

 private:
  struct Members {
    std::string part;
    std::vector<std::size_t> faults;
  };
  [[nodiscard]] const Members* find(std::string_view part) const {
    const auto at =
        std::find_if(parts_.begin(), parts_.end(), [&](const Members& m) { return m.part == part; });
    return at == parts_.end() ? nullptr : &*at;
  }
  [[nodiscard]] double confusable(const Members& a, const Members& b) const {
    double sum = 0.0;
    for (const std::size_t i : a.faults) {
      double most = 0.0;
      for (const std::size_t k : b.faults) most = std::max(most, outcomes_.confusable(i, k));
      sum += most;
    }
    return sum / static_cast<double>(a.faults.size());
  }
  const Car& car_;
  Outcomes outcomes_;
  std::vector<Members> parts_;
};

std::vector<std::string> cautions_of(const std::vector<NextRun>& runs) {
  std::vector<std::string> cautions{
      "A road test can injure. Only one who may drive this car on this road, and is fit to, drives it; speed "
      "limits, traffic and local law come before this card. Leave out any run that they do not allow.",
      "Look first: wheel nuts, play in wheels, hubs and joints, tyres, brakes, steering. Do not drive a car "
      "with a loose wheel or hub, a joint or propshaft with play, or brakes that are in doubt.",
      "The driver drives. A second person, belted in, starts the phone, reads the needle and writes.",
      "A quiet, smooth, dry road with room to stop, no one behind, the same stretch for every run.",
      "No lifting of the car and no running on stands for this; no one leans out or works beside moving "
      "parts."};
  if (std::any_of(runs.begin(), runs.end(), [](const NextRun& r) { return r.turn != Turn::straight; }))
    cautions.emplace_back(
        "Bends: gentle and steady, such as a long curve or a roundabout without traffic; never swerve.");
  if (std::any_of(runs.begin(), runs.end(), [](const NextRun& r) { return r.gear.neutral(); }))
    cautions.emplace_back(
        "Rolling in neutral: only where it is lawful, on the level and straight, engine running so that "
        "brake "
        "servo and steering work, a hand on the lever. Never switch the ignition off.");
  cautions.emplace_back(
      "If the noise grows suddenly, metal knocks, smoke or a smell comes, or a wheel feels loose: stop where "
      "it "
      "is safe and do not drive on.");
  return cautions;
}

std::vector<std::string> recording_advice() {
  return {
      "Phone on the floor or seat as near the noise as a belted person can leave it, on a folded cloth, "
      "microphone free, fixed so that it can't slide; the same place for every run.",
      "Windows and vents shut; fan, radio, wipers and indicator off; no talking.",
      "A plain recording app, without noise reduction; automatic gain control off where the phone allows "
      "it. Mono and M4A will do, WAV is better.",
      "One recording per run: start it, settle at the speed, hold it for the time given, stop it.",
      "Say gear and run number aloud before each run, not in it."};
}

}  // namespace

std::vector<Hypothesis> hypotheses_for(const Car& car, const std::vector<std::string>& suspects) {
  const auto faults = faults_of_parts(car);
  const auto suspected = static_cast<double>(std::count_if(
      faults.begin(), faults.end(), [&](const auto& f) { return is_suspect(suspects, f.first); }));
  const double others = static_cast<double>(faults.size()) - suspected;
  const double silent = suspected == 0.0 ? no_fault : no_fault_of_suspects;
  const double for_suspects = suspected == 0.0 ? 0.0 : others > 0.0 ? of_suspects : 1.0 - silent;
  std::vector<Hypothesis> hypotheses;
  for (const Part& part : car.parts) {
    const auto at = faults.find(part.id);
    if (at == faults.end()) continue;
    if (!is_suspect(suspects, part.id)) {
      hypotheses.push_back(
          {part.id, at->second.front(), Probability((1.0 - silent - for_suspects) / others)});
      continue;
    }
    const double each = for_suspects / suspected / static_cast<double>(at->second.size());
    for (const Fault fault : at->second) hypotheses.push_back({part.id, fault, Probability(each)});
  }
  return hypotheses;
}

Result<Plan> plan(const Car& car, const PlanQuestion& question) {
  for (const std::string& id : question.suspects)
    if (!car.part(id)) return no_such_part(car, id);
  const std::vector<Hypothesis> hypotheses = hypotheses_for(car, question.suspects);
  Plan plan;
  plan.car_name = car.name;
  plan.unit = question.limits.unit;
  for (const Gear& gear : car.gears) plan.gears.push_back(gear.label);
  plan.suspects = question.suspects;
  for (const std::string& id : plan.suspects) plan.suspect_names.push_back(part_name(car, id));
  plan.entropy = entropy(hypotheses);
  plan.runs = best_runs(car, hypotheses, question.limits, question.effort);
  for (const NextRun& run : plan.runs) plan.expected_drop += run.expected_entropy_drop;
  put_in_driving_order(plan.runs);
  std::vector<std::string> asked = plan.suspects;
  if (asked.empty())
    for (const Hypothesis& hypothesis : hypotheses) asked.push_back(hypothesis.part);
  const AfterRuns after(car, hypotheses, plan.runs);
  plan.alike = after.alike(asked);
  for (const std::string& id : asked)
    if (!after.heard(id)) plan.unheard.push_back(part_name(car, id));
  plan.cautions = cautions_of(plan.runs);
  plan.how_to_record = recording_advice();
  return plan;
}

}  // namespace gearhark
