// Prints as JSON what tests/bench/diagnosis.py takes from the car file: lines to track by, families of
// faults, orders of a sound car, weights, runs that might be next. With a recording also what gearhark finds
// in it, for the script to be held against.
//   bench_catalogue CAR.toml GEAR LOAD SPEED [RECORDING]
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <nlohmann/json.hpp>

#include "diagnosis/weights.hpp"
#include "gearhark/diagnosis/hearing.hpp"
#include "gearhark/diagnosis/next_run.hpp"
#include "gearhark/diagnosis/ranking.hpp"
#include "gearhark/diagnosis/road_test.hpp"
#include "speed/car_lines.hpp"
#include "speed/idle.hpp"
#include "speed/loud_parts.hpp"
#include "speed/prior.hpp"

namespace {

using namespace gearhark;
using Json = nlohmann::ordered_json;

constexpr std::array source_words{"engine", "gear", "tread", "learnt", "machine", "knock"};
constexpr std::array certainty_words{"sure", "doubtful", "lost"};
constexpr std::array kind_words{"events", "mesh", "tyre", "joint"};

Json tracking_lines(std::span<const TrackingLine> given) {
  Json lines = Json::array();
  for (const TrackingLine& line : given)
    lines.push_back({line.order, line.visible, source_words[static_cast<std::size_t>(line.source)]});
  return lines;
}

// Each machine's turns and its belt's slip.
Json machines_of(std::span<const Line> lines) {
  Json machines = Json::array();
  for (const Line& line : lines)
    if (line.kind == LineKind::machine_turn && line.harmonic == 1 && line.rate.wheel != 0.0)
      machines.push_back({std::abs(line.rate.wheel), line.low, line.high});
  return machines;
}

// How often a tooth that is chipped strikes.
Json teeth_of(const Car& car, const DriveState& state, const ShaftRates& rates) {
  Json orders = Json::array();
  for (const Family& family : fault_families(car, state, rates))
    if (family.fault == Fault::chipped_tooth && family.base.wheel != 0.0)
      orders.push_back(std::abs(family.base.wheel));
  return orders;
}

Json gear_of(const Car& car, const Gear& gear, std::size_t position) {
  const DriveState state{gear, Clutch::engaged};
  const auto lines = tracking::car_lines(car, state),
             apart = tracking::car_lines(car, {gear, Clutch::pedal_down});
  const auto rates = shaft_rates(car, state);
  if (!lines || !apart || !rates) return nullptr;
  return {{"gear", gear.label},
          {"position", position},
          {"engine_per_wheel", std::abs(*overall_ratio(car, gear))},
          {"lines", tracking_lines(lines->wheel)},
          {"machines", machines_of(lines->predicted)},
          {"teeth", teeth_of(car, state, *rates)},
          {"road_apart", tracking_lines(tracking::without_tread(apart->wheel))},
          {"engine_apart", tracking_lines(apart->engine)}};
}

// Forward gears in the lever's order.
Json gears_of(const Car& car) {
  Json gears = Json::array();
  std::string lever;
  std::size_t position = 0;
  for (const Gear& gear : car.gears) {
    if (gear.neutral() || gear.label == "R") continue;
    if (gear.base() != lever) ++position;
    lever = gear.base();
    gears.push_back(gear_of(car, gear, position));
  }
  return gears;
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
  const std::vector<double> slips = slip_grid(family);
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
      {"slips", slips},
      {"usual", how_usual(family, slips)},
      {"visibility", any_part ? 1.0 : visibility(car, family, {run.gear, run.clutch}, run.load, run.turn)},
      {"logit", weights.base + (candidate.unlisted() ? 0 : knowledge) * ranking::weakly_known_logit},
      {"slope", weights.slope},
      {"in_full", ranking::in_full_of(candidate.fault)},
      {"sure", ranking::sure},
      {"believed_beyond", ranking::believed_beyond},
      {"second_best", ranking::second_best}};
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

Json rate_json(const Rate& rate) { return {rate.wheel, rate.engine, rate.bend}; }

std::string name_of(const NextRun& run) {
  return run.gear.label + (run.clutch == Clutch::engaged ? "" : ", pedal down");
}

Json run_json(const Car& car, const NextRun& run) {
  return {{"state", name_of(run)},
          {"load", to_text(run.load)},
          {"turn", to_text(run.turn)},
          {"speed_mps", run.speed.value()},
          {"duration_s", run.duration.value()},
          {"wheel_hz", (run.speed / car.tyre.rolling_circumference).value()},
          {"bend", expected_bend(run.turn, run.speed)}};
}

// The first family of each fault of each part, as a next run would show it.
Json foreseen_families(const Car& car, const DriveState& state, const ShaftRates& rates) {
  Json out = Json::object();
  for (const Family& family : fault_families(car, state, rates)) {
    const std::string name = family.part + ", " + to_text(family.fault);
    if (out.contains(name)) continue;
    Json visible = Json::object();
    for (const Load load : {Load::drive, Load::floating, Load::coast, Load::neutral})
      for (const Turn turn : {Turn::straight, Turn::left, Turn::right})
        visible[to_text(load) + ", " + to_text(turn)] = visibility(car, family, state, load, turn);
    out[name] = {{"fault", to_text(family.fault)},
                 {"kind", kind_words[static_cast<std::size_t>(kind_of(family.fault))]},
                 {"base", rate_json(family.base)},
                 {"modulation", rate_json(family.modulation)},
                 {"elements", family.elements},
                 {"low", family.geometry_low * (1.0 + family.slip_low)},
                 {"high", family.geometry_high * (1.0 + family.slip_high)},
                 {"loaded", family.loaded},
                 {"visible", visible}};
  }
  return out;
}

Json foreseen_state(const Car& car, const DriveState& state) {
  ShaftRates rates;
  if (auto found = shaft_rates(car, state)) rates = *std::move(found);
  const auto masks = [&](Reference on, Events events) {
    Json out = Json::array();
    for (const MaskedOrder& m : healthy_orders(car, state, rates, on, events))
      out.push_back({m.order, m.relative_half_width});
    return out;
  };
  Json masked = Json::object();
  for (const auto& [word, on] :
       {std::pair("wheel", Reference::wheel), std::pair("engine", Reference::engine)})
    masked[word] = {{"slipping", masks(on, Events::slipping)}, {"locked", masks(on, Events::locked)}};
  return {{"families", foreseen_families(car, state, rates)},
          {"masked", masked},
          {"half_orders", engine_half_orders(rates, half_orders_to)}};
}

// Every run that might be next, and what those in one gear share.
Json feasible(const Car& car) {
  Json runs = Json::array(), states = Json::object();
  for (const NextRun& run : feasible_runs(car, {})) {
    runs.push_back(run_json(car, run));
    if (!states.contains(name_of(run))) states[name_of(run)] = foreseen_state(car, {run.gear, run.clutch});
  }
  return {{"runs", runs}, {"states", states}};
}

// What the search for loud parts comes to in one gear: its nats a second with the lines chosen.
Json loud_in(const AngleSearch& search, const Car& car, const Gear& gear, bool machines,
             tracking::CarLines& lines) {
  if (machines) tracking::add_loud_machines(search, lines);
  const std::size_t before = lines.wheel.size();
  tracking::add_loud_knock(search, car, {gear, Clutch::engaged}, lines);
  Json heard = Json::array();
  for (std::size_t i = 0; i < before; ++i)
    if (lines.wheel[i].source == LineSource::machine &&
        (i == 0 || lines.wheel[i].order < lines.wheel[i - 1].order))
      heard.push_back(lines.wheel[i].order);
  return {{"gear", gear.label},
          {"nats_per_s", search.evidence_per_s(lines.wheel)},
          {"machines", heard},
          {"knock", before < lines.wheel.size() ? Json(lines.wheel[before].order) : Json(nullptr)}};
}

// Engine and road apart, as tracking looks for an open clutch.
Json apart_in(const AngleSearch& search, const tracking::Sound& sound, const Car& car, const Gear& gear,
              const FoundAngle& together) {
  const auto apart = tracking::car_lines(car, {gear, Clutch::pedal_down});
  const FoundAngle road =
      search.find_with_fewer(tracking::without_tread(apart->wheel), together, AngleSearch::IfLost::stop);
  const RatePrior revs = tracking::engine_apart_prior(road.track, *overall_ratio(car, gear), apart->engine);
  Json out{{"road", certainty_words[static_cast<std::size_t>(road.certainty)]}};
  if (road.certainty == Certainty::sure)
    out["engine_rival_per_s"] =
        AngleSearch(sound, revs, road).find(apart->engine, AngleSearch::IfLost::stop).rival_per_s;
  return out;
}

// The steps on the way to the angle, for the stated gear and its neighbours.
Json looks_in(const Car& car, const Run& run, const Recording& recording) {
  const double turns_per_metre = 1.0 / car.tyre.rolling_circumference.value();
  const tracking::Sound sound = tracking::decimate_for_tracking(recording.samples, recording.sample_rate);
  const AngleSearch search(
      sound, tracking::rate_prior(run.speed, recording.duration().value(), turns_per_metre, run.load));
  auto lines = tracking::car_lines(car, {run.gear, Clutch::engaged});
  Json gears = Json::array({loud_in(search, car, run.gear, true, *lines)});
  const FoundAngle together = search.find(lines->wheel);
  const auto idle =
      tracking::idling_engine(together.heard->flat, std::abs(*overall_ratio(car, run.gear)), lines->wheel);
  const bool machines = !gears[0]["machines"].empty();
  const Json all = gears_of(car);
  const auto stated =
      std::find_if(all.begin(), all.end(), [&](const Json& g) { return g["gear"] == run.gear.label; });
  for (const Json& gear : all) {
    const Gear other{gear["gear"].get<std::string>()};
    const int away = gear["position"].get<int>() - (*stated)["position"].get<int>();
    if (other == run.gear || std::abs(away) > 1) continue;
    auto its = tracking::car_lines(car, {other, Clutch::engaged});
    gears.push_back(loud_in(search, car, other, machines, *its));
  }
  return {{"gears", gears},
          {"rival_per_s", together.rival_per_s},
          {"lead_per_s", together.lead_per_s},
          {"gear_margin", together.gear_margin},
          {"road_margin", together.road_margin},
          {"idle_hz", idle ? Json(*idle) : Json(nullptr)},
          {"apart", apart_in(search, sound, car, run.gear, together)}};
}

Json candidates_json(const std::vector<Candidate>& all) {
  Json candidates = Json::array();
  for (const Candidate& c : all)
    if (c.turned)
      candidates.push_back({{"part", c.part},
                            {"fault", to_text(c.fault)},
                            {"alone", c.alone},
                            {"slip", c.slip},
                            {"level", c.level},
                            {"log_factor", c.log_factor}});
  return candidates;
}

Json suspects_json(const Diagnosis& diagnosis) {
  Json parts = Json::array();
  for (const Suspect& s : diagnosis.suspects) {
    Json lines = Json::array();
    for (const EvidenceItem& item : s.evidence)
      lines.push_back({item.order.value(), item.above_background.value(), item.chance});
    parts.push_back({{"part", s.part},
                     {"fault", to_text(s.fault)},
                     {"probability", s.probability.value()},
                     {"cannot_be_told_from", s.cannot_be_told_from},
                     {"lines", lines}});
  }
  return parts;
}

Json found_in(const Car& car, const Run& run, const char* file) {
  RunSound sound{run, {}, {}};
  auto recording = load_recording(file);
  if (!recording) return recording.error().sentence;
  sound.recording = *std::move(recording);
  Hearing hearing = hear(car, {sound});
  const Json candidates = candidates_json(hearing.candidates);
  const Diagnosis diagnosis = diagnosis_of(car, hearing);
  const RunReport& report = diagnosis.runs.front();
  Json next = nullptr;
  if (diagnosis.next_run) {
    next = run_json(car, *diagnosis.next_run);
    next["entropy_drop"] = diagnosis.next_run->expected_entropy_drop;
  }
  return {{"wheel_hz", report.mean_wheel.value()},
          {"gear", report.tracking.gear.label},
          {"speed_found", certainty_words[static_cast<std::size_t>(report.tracking.certainty)]},
          {"looks", looks_in(car, run, sound.recording)},
          {"usable_s", report.quality.usable.value()},
          {"bandwidth_hz", report.quality.bandwidth.value()},
          {"level_pumping_db", report.quality.level_pumping_db},
          {"wind_db", report.quality.wind_db},
          {"no_fault", diagnosis.no_fault.value()},
          {"unexplained", diagnosis.unexplained.value()},
          {"parts", suspects_json(diagnosis)},
          {"next_run", next},
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
  Json out{{"gear", run.gear.label},
           {"wheel_hz", speed->points.front().speed.value() / car->tyre.rolling_circumference.value()},
           {"load", to_text(run.load)},
           {"gears", gears_of(*car)},
           {"families", families_of(*car, run, heard)},
           {"masked",
            {{"slipping", masked(*car, heard, Events::slipping)},
             {"locked", masked(*car, heard, Events::locked)}}},
           {"not_of_tyres", not_of_tyres(*car, heard)},
           {"half_orders", engine_half_orders(heard.rates, half_orders_to)},
           {"next", feasible(*car)}};
  if (count > 5) out["found"] = found_in(*car, run, words[5]);
  std::puts(out.dump().c_str());
  return 0;
}
