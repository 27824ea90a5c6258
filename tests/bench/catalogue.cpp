// Prints as JSON what tests/bench/diagnosis.py takes from the car file: lines to track by, families of
// faults, orders of a sound car, weights. With a recording also what gearhark finds in it, for the script to
// be held against.
//   bench_catalogue CAR.toml GEAR LOAD SPEED [RECORDING]
#include <array>
#include <cmath>
#include <cstdio>
#include <nlohmann/json.hpp>

#include "diagnosis/weights.hpp"
#include "gearhark/diagnosis/hearing.hpp"
#include "gearhark/diagnosis/ranking.hpp"
#include "gearhark/diagnosis/road_test.hpp"
#include "speed/car_lines.hpp"

namespace {

using namespace gearhark;
using Json = nlohmann::ordered_json;

constexpr std::array source_words{"engine", "gear", "tread", "learnt"};
constexpr std::array kind_words{"events", "mesh", "tyre", "joint"};

Json tracking_lines(const Car& car, const Gear& gear) {
  Json lines = Json::array();
  if (const auto found = tracking::car_lines(car, {gear, Clutch::engaged}))
    for (const TrackingLine& line : found->wheel)
      lines.push_back({line.order, line.visible, source_words[static_cast<std::size_t>(line.source)]});
  return lines;
}

Json family_of(const Car& car, const Run& run, const Family& family, bool healthy) {
  const auto orders = orders_of(family, 0.0);
  if (!orders || orders->on != Reference::wheel) return nullptr;  // does not turn
  Candidate candidate;
  candidate.part = family.part;
  candidate.fault = family.fault;
  candidate.kind = healthy ? EvidenceKind::events : kind_of(family.fault);
  const bool any_part = healthy || candidate.unlisted();
  const auto& weights =
      ranking::weights[healthy ? 0 : static_cast<std::size_t>(evidence_class(candidate, car))];
  const auto knowledge = static_cast<int>(family.knowledge);
  return {
      {"part", family.part},
      {"fault", to_text(family.fault)},
      {"healthy", healthy},
      {"kind", kind_words[static_cast<std::size_t>(candidate.kind)]},
      {"locked", candidate.kind == EvidenceKind::events && events_of(family.fault) == Events::locked},
      {"fundamental", orders->fundamental},
      {"modulation", orders->modulation},
      {"ring_rate", family.ring_rate.wheel},
      {"base", family.base.wheel},
      {"modulating", family.modulation.wheel},
      {"elements", family.elements},
      {"loaded", family.loaded},
      {"knowledge", knowledge},
      {"slips", slip_grid(family)},
      {"visibility", any_part ? 1.0 : visibility(car, family, {run.gear, run.clutch}, run.load, run.turn)},
      {"logit", weights.base + (candidate.unlisted() ? 0 : knowledge) * ranking::weakly_known_logit},
      {"slope", weights.slope},
      {"sure", ranking::sure},
      {"believed_beyond", ranking::believed_beyond}};
}

Json families_of(const Car& car, const Run& run, const HeardRun& heard) {
  Json out = Json::array();
  const auto add = [&](const Family& family, bool healthy) {
    if (Json one = family_of(car, run, family, healthy); !one.is_null()) out.push_back(std::move(one));
  };
  for (const Family& family : heard.families) add(family, false);
  for (const Family& family : heard.healthy) add(family, true);
  add(heard.unlisted, false);
  return out;
}

Json masked(const Car& car, const HeardRun& heard, Events events) {
  Json out = Json::array();
  for (const MaskedOrder& m : healthy_orders(car, heard.state, heard.rates, Reference::wheel, events))
    out.push_back({m.order, m.relative_half_width});
  return out;
}

// What the uneven wear of a tyre is not looked for at, as judge_tyre() has it.
std::vector<double> not_of_tyres(const Car& car, const HeardRun& heard) {
  std::vector<double> known = engine_half_orders(heard.rates, 30.0);
  for (const Line& line : predicted_lines(car, heard.state, heard.rates)) {
    const bool wheel = line.kind == LineKind::wheel_turn || line.kind == LineKind::tread ||
                       (line.kind >= LineKind::outer_race && line.kind <= LineKind::cage);
    if (!wheel && line.rate.road_bound()) known.push_back(std::abs(line.rate.wheel));
  }
  return known;
}

Json found_in(const Car& car, const Run& run, const char* file) {
  RunSound sound{run, {}, {}};
  auto recording = load_recording(file);
  if (!recording) return recording.error().sentence;
  sound.recording = *std::move(recording);
  const Hearing hearing = hear(car, {sound});
  const RunReport& report = hearing.runs.front();
  const Ranking ranked = rank(car, hearing.candidates);
  Json candidates = Json::array(), parts = Json::array();
  for (const Candidate& c : hearing.candidates)
    if (c.turned)
      candidates.push_back({{"part", c.part},
                            {"fault", to_text(c.fault)},
                            {"alone", c.alone},
                            {"slip", c.slip},
                            {"level", c.level},
                            {"log_factor", c.log_factor}});
  for (const RankedPart& part : ranked.parts)
    parts.push_back({{"part", part.part},
                     {"fault", to_text(hearing.candidates[part.best].fault)},
                     {"probability", part.probability.value()}});
  return {{"wheel_hz", report.mean_wheel.value()},
          {"usable_s", report.quality.usable.value()},
          {"bandwidth_hz", report.quality.bandwidth.value()},
          {"level_pumping_db", report.quality.level_pumping_db},
          {"wind_db", report.quality.wind_db},
          {"no_fault", ranked.no_fault.value()},
          {"unexplained", ranked.unexplained.value()},
          {"parts", parts},
          {"candidates", candidates}};
}

}  // namespace

int main(int count, char** words) {
  if (count < 5) return 2;
  const auto car = load_car(words[1]);
  const auto speed = parse_stated_speed(words[4]);
  if (!car || !speed) return 1;
  Run run;
  run.gear = Gear{words[2]};
  while (to_text(run.load) != words[3])
    if (run.load = static_cast<Load>(static_cast<int>(run.load) + 1); run.load == Load::neutral) return 2;
  run.speed = *speed;
  // A run of which nothing is heard yet has its families already.
  const HeardRun heard = PieceListener(*car, run, 16000.0, Hertz(8000.0), {}).heard();
  Json gears = Json::object();
  for (const Gear& gear : car->gears)
    if (!gear.neutral() && gear.label != "R") gears[gear.label] = tracking_lines(*car, gear);
  Json out{{"gear", run.gear.label},
           {"wheel_hz", speed->points.front().speed.value() / car->tyre.rolling_circumference.value()},
           {"engine_per_wheel", *overall_ratio(*car, run.gear)},
           {"tracking", gears},
           {"families", families_of(*car, run, heard)},
           {"masked",
            {{"slipping", masked(*car, heard, Events::slipping)},
             {"locked", masked(*car, heard, Events::locked)}}},
           {"not_of_tyres", not_of_tyres(*car, heard)},
           {"half_orders", engine_half_orders(heard.rates, half_orders_to)}};
  if (count > 5) out["found"] = found_in(*car, run, words[5]);
  std::puts(out.dump().c_str());
  return 0;
}
