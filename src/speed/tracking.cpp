#include "gearhark/speed/tracking.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <memory>

#include "car_lines.hpp"
#include "gearhark/signal/parallel.hpp"
#include "gearhark/signal/statistics.hpp"
#include "gearhark/speed/pieces.hpp"
#include "gearhark/units/speedometer.hpp"
#include "gearhark/units/text.hpp"
#include "idle.hpp"
#include "learnt_lines.hpp"
#include "loud_parts.hpp"
#include "prior.hpp"

namespace gearhark {
namespace {

using namespace tracking;

Tracking at_given_rate(double rate, double duration) {
  Tracking out;
  const auto steps = static_cast<std::size_t>(std::max(2.0, std::round(duration / 0.05)));
  const double step = duration / static_cast<double>(steps);
  out.wheel = integrate(std::vector<double>(steps + 1, rate), step);
  out.certainty = Certainty::sure;
  return out;
}

Tracking lost(const RatePrior& prior, std::string remark) {
  Tracking out;
  out.wheel = prior.nominal;
  out.scale = 1.0 + prior.mean;
  for (double& turns : out.wheel.turns) turns *= out.scale;
  out.scale_sd = prior.sd;
  out.wheel_rate_sd = prior.sd * prior.nominal.mean_rate();
  out.remarks.push_back(std::move(remark));
  return out;
}

// An engine at idle that nobody timed: 480 to 1500 rpm.
RatePrior idle_prior(double duration) {
  const auto steps = static_cast<std::size_t>(std::max(2.0, std::round(duration / 0.05)));
  RatePrior prior;
  prior.nominal = integrate(std::vector<double>(steps + 1, 15.0), duration / static_cast<double>(steps));
  prior.mean = 0.0;
  prior.sd = 0.5;
  prior.low = -0.47;
  prior.high = 0.67;
  prior.window_s = 1.0;
  prior.lowest_hz = 18.0;
  prior.apart = 0.02;
  return prior;
}

// Rates at both ends of a track, turns/s: a straight line through the means of the two seconds there.
struct Ends {
  double first, last;
};
Ends ends_of(const AngleTrack& track) {
  const double second = std::min(1.0, 0.05 * track.duration()), end = track.duration();
  const auto mean_from = [&](double from) { return (track.at(from + second) - track.at(from)) / second; };
  return {1.5 * mean_from(0.0) - 0.5 * mean_from(second),
          1.5 * mean_from(end - second) - 0.5 * mean_from(end - 2.0 * second)};
}

// Of a needle that moves, read when the recording starts and ends (judged).
constexpr double kReadOnTheMove = 0.01;

Tracking from_found(const FoundAngle& found, const RatePrior& prior, const CarLines& lines) {
  Tracking out;
  const double relative_sd = std::hypot(found.relative_sd, lines.spread), rate = found.track.mean_rate();
  out.wheel = found.track;
  out.certainty = found.certainty;
  out.scale = rate / prior.nominal.mean_rate();
  out.scale_sd = relative_sd * out.scale;
  // How the speed went between two moments that were told says nothing of the needle.
  if (prior.told_at_ends) {
    const Ends there = ends_of(found.track), told = ends_of(prior.nominal);
    out.scale = (there.first + there.last) / (told.first + told.last);
    out.scale_sd = std::hypot(relative_sd, kReadOnTheMove) * out.scale;
  }
  out.wheel_rate_sd = relative_sd * rate;
  for (const FoundLine& line : found.lines)
    if (line.followed && line.line.origin != kNoOrigin)
      out.lines_used.push_back(lines.predicted[line.line.origin]);
  return out;
}

// What is known of a recording before anything is sought in it.
struct Prepared {
  RatePrior prior;
  CarLines lines;
  Gear gear;
  std::shared_ptr<const Sound> sound;  // decimated
  std::string note;                    // on how the stated speed was read; may be empty
};

double length_of(const RunInput& input) {
  return static_cast<double>(input.samples.size()) / input.sample_rate;
}

bool same_rate(const AngleTrack& a, const AngleTrack& b) {
  return std::abs(a.mean_rate() / b.mean_rate() - 1.0) < 0.003;
}

// A box that idles with the engine has lines everywhere: of 144 invented engines five were found by all of
// them at a wrong rate, and to none of these did the engine's own orders lead. To the eight found in another
// simulator's runs they do.
FoundAngle engine_at_idle(const RunInput& input, const Prepared& known) {
  const AngleSearch search(*known.sound, idle_prior(length_of(input)));
  FoundAngle engine = search.find(known.lines.engine);
  if (engine.certainty == Certainty::lost) return engine;
  const FoundAngle alone =
      search.find(lines_from(LineSource::engine, known.lines.engine), AngleSearch::IfLost::stop);
  if (alone.certainty == Certainty::lost || !same_rate(alone.track, engine.track))
    engine.certainty = Certainty::lost;
  return engine;
}

Tracking search_in_neutral(const RunInput& input, const Prepared& known) {
  AngleSearch search(*known.sound, known.prior);
  const FoundAngle engine = engine_at_idle(input, known);
  search.remove_steady_orders(engine.track);
  Tracking out = from_found(search.find(known.lines.wheel), known.prior, known.lines);
  if (engine.certainty != Certainty::lost) out.engine = engine.track;
  return out;
}

// One gear's lines on a run.
struct GearFit {
  Gear gear;
  CarLines lines;
  double evidence = 0.0;  // all paths together, nats/s
  FoundAngle found;
};

// Both must be better: the evidence of all paths, where lines that should be heard and are not count against
// a gear, and how far its lines stand out on the path found. A loud fault's lines, which no gear expects,
// favour now one, now another by a few nats a second.
constexpr double kMoreEvidence = 5.0, kMoreLead = 5.0;  // nats/s

// A hand on the lever mistakes it for the next position, not for one further off (common practice, no
// published source). The engine turns twice as fast two gears down, and a tick once per turn then passes for
// its half orders.
std::vector<Gear> gears_mistaken_for(const Car& car, const Gear& noted) {
  std::vector<Gear> forward;
  std::vector<std::string> positions;
  for (const Gear& gear : car.gears) {
    if (gear.neutral() || gear.label == "R") continue;
    forward.push_back(gear);
    if (positions.empty() || positions.back() != gear.base()) positions.push_back(gear.base());
  }
  const auto place = [&](const Gear& gear) {
    return std::find(positions.begin(), positions.end(), gear.base()) - positions.begin();
  };
  std::erase_if(forward,
                [&](const Gear& gear) { return gear == noted || std::abs(place(noted) - place(gear)) > 1; });
  return forward;
}

bool machine_heard(const CarLines& lines) {
  return std::any_of(lines.wheel.begin(), lines.wheel.end(),
                     [](const TrackingLine& line) { return line.source == LineSource::machine; });
}

// The gear whose lines fit best; the stated one unless another is clearly better. With a remark if it is not.
GearFit best_gear(const AngleSearch& search, const Car& car, const Prepared& known, std::string& remark) {
  GearFit stated{known.gear, known.lines, 0.0, {}};
  add_loud_machines(search, stated.lines);
  add_loud_knock(search, car, {stated.gear, Clutch::engaged}, stated.lines);
  // Looked for in another gear only if heard in the stated one: what slips helps any gear a little.
  const bool loud = machine_heard(stated.lines);
  stated.found = search.find(stated.lines.wheel);
  // The same of a free walk.
  stated.evidence = known.prior.shape == PathShape::free_walk && search.long_enough()
                        ? stated.found.evidence_per_s
                        : search.evidence_per_s(stated.lines.wheel);
  std::vector<GearFit> others;
  for (const Gear& gear : gears_mistaken_for(car, stated.gear)) {
    auto lines = car_lines(car, {gear, Clutch::engaged});
    if (!lines) continue;
    if (loud) add_loud_machines(search, *lines);
    add_loud_knock(search, car, {gear, Clutch::engaged}, *lines);
    const double evidence = search.evidence_per_s(lines->wheel);
    if (evidence > stated.evidence + kMoreEvidence) others.push_back({gear, *std::move(lines), evidence, {}});
  }
  const auto total = [](const GearFit& fit) { return fit.evidence + fit.found.lead_per_s; };
  const GearFit* best = &stated;
  for (GearFit& other : others) {
    other.found = search.find(other.lines.wheel);
    if (other.found.lead_per_s > stated.found.lead_per_s + kMoreLead && total(other) > total(*best))
      best = &other;
  }
  if (best != &stated)
    remark = fmt::format(
        "The sound fits gear {} better than the stated gear {} (log evidence {:+.1f} against {:+.1f} a "
        "second); gear {} was used.",
        best->gear.label, stated.gear.label, best->evidence, stated.evidence, best->gear.label);
  return *best;
}

double percent(double scale) { return 100.0 * (scale - 1.0); }

void remark_on_needle(Tracking& out, const StatedSpeed& stated, double metres_per_turn) {
  if (stated.source != SpeedSource::needle || out.certainty == Certainty::lost) return;
  const Speed truly(out.wheel.mean_rate() * metres_per_turn), said(truly.value() / out.scale);
  const SpeedRange lawful = lawful_readings(truly);
  if (said > lawful.high || said.value() < 0.97 * lawful.low.value())
    out.remarks.push_back(
        fmt::format("The stated {} lies {:.1f} % {} the {} found, more than UN Regulation 39 allows a "
                    "speedometer; tyres of "
                    "another size or a wrong note do that.",
                    to_text(said, stated.unit, 0), std::abs(percent(said / truly)),
                    said > truly ? "above" : "below", to_text(truly, stated.unit, 1)));
}

bool contradicts_steady(const AngleTrack& track, const RatePrior& prior) {
  constexpr double not_steady = 0.06;
  const Ends ends = ends_of(track);
  return prior.steadiness == Steadiness::steady &&
         std::abs(ends.last - ends.first) >= not_steady * track.mean_rate();
}

void remark_on_change(Tracking& out, const RatePrior& prior, const StatedSpeed& stated,
                      double metres_per_turn) {
  if (out.certainty == Certainty::lost || !contradicts_steady(out.wheel, prior)) return;
  const Ends ends = ends_of(out.wheel);
  out.remarks.push_back(fmt::format("The car was {}: from {} to {}, though a steady speed was stated.",
                                    ends.last > ends.first ? "accelerating" : "slowing down",
                                    to_text(Speed(ends.first * metres_per_turn), stated.unit, 0),
                                    to_text(Speed(ends.last * metres_per_turn), stated.unit, 0)));
}

// The note says steady, but nothing steady was found: perhaps the speed changed.
std::optional<FoundAngle> found_changing(const Prepared& known) {
  if (known.prior.steadiness != Steadiness::steady) return {};
  RatePrior wide = known.prior;
  wide.steadiness = Steadiness::changing;
  wide.sd = 0.15;
  wide.low -= 0.25;
  wide.high += 0.25;
  FoundAngle found = AngleSearch(*known.sound, wide).find(known.lines.wheel, AngleSearch::IfLost::stop);
  if (found.certainty != Certainty::sure) return {};
  return found;
}

// A clutch that slips lets the engine run ahead of the road, under power; a pedal pressed lets it fall to
// idling or be revved. What lies between is more likely a road speed wrongly found, and what lies on a simple
// ratio the engine itself with its orders counted wrongly.
bool clutch_can_do(double engine_over_expected, Load load) {
  constexpr double slips = 1.01, idles = 0.8, revved = 1.25, simple = 0.002;
  for (const double ratio : {1.0 / 2, 3.0 / 5, 2.0 / 3, 3.0 / 4, 5.0 / 4, 4.0 / 3, 3.0 / 2, 2.0})
    if (std::abs(engine_over_expected / ratio - 1.0) < simple) return false;
  return engine_over_expected > (load == Load::drive ? slips : revved) || engine_over_expected < idles;
}

// Engine and road sought apart, as with the pedal down; a remark if both are there and do not belong
// together. Where the engine was found to idle, that engine is meant and not one twice as fast, say.
void look_for_open_clutch(const RunInput& input, const AngleSearch& search, const FoundAngle& together,
                          const Car& car, const Prepared& known, std::optional<double> idle, Tracking& out) {
  const auto apart = car_lines(car, {known.gear, Clutch::pedal_down});
  const auto ratio = overall_ratio(car, known.gear);
  if (!apart || !ratio) return;
  std::vector<TrackingLine> road = without_tread(apart->wheel);
  const FoundAngle wheel = search.find_with_fewer(road, together, AngleSearch::IfLost::stop);
  if (wheel.certainty != Certainty::sure) return;
  if (together.certainty == Certainty::sure && !same_rate(wheel.track, together.track)) return;
  const RatePrior revs = engine_apart_prior(wheel.track, *ratio, apart->engine);
  const FoundAngle engine =
      AngleSearch(*known.sound, revs, wheel).find(apart->engine, AngleSearch::IfLost::stop);
  const double expected = wheel.track.mean_rate() * *ratio, found = engine.track.mean_rate();
  if (engine.certainty == Certainty::lost || !clutch_can_do(found / expected, input.run.load)) return;
  if (idle && std::abs(found / *idle - 1.0) > 0.02) return;
  // An engine alone leads to a road speed at which gears lie on its orders.
  leave_out_half_orders(road, 0.5 * found / wheel.track.mean_rate());
  if (search.find_with_fewer(road, wheel, AngleSearch::IfLost::stop).certainty != Certainty::sure) return;
  out = from_found(wheel, known.prior, *apart);
  out.engine = engine.track;
  out.remarks.push_back(fmt::format(
      "Engine and road do not belong together: the engine turned at {:.0f} rpm where gear {} at this road "
      "speed makes it {:.0f} rpm; the clutch slipped or the pedal was down.",
      60.0 * found, known.gear.label, 60.0 * expected));
}

constexpr double kGearsHeard = 1.0;  // nats/s

// Where nothing but the engine tells. Of some 45 such runs from two simulators the right ones lay from 0.91
// to 1.023, and of five wrong ones three outside of these limits.
bool possible_scale(SpeedSource source, double scale) {
  const bool needle = source == SpeedSource::needle;
  return source == SpeedSource::range || (scale > (needle ? 0.9 : 0.96) && scale < (needle ? 1.025 : 1.04));
}

// An engine alone fits some gear at some speed of any car. What gives it away: more of its lines at a slower
// rate, or no gear lines but those on engine orders and a speed that is unusual or changes against the note.
// Returns the rate of an engine found to idle.
std::optional<double> doubt_engine_alone(const RunInput& input, const Car& car, const Prepared& known,
                                         const FoundAngle& found, Tracking& out) {
  const auto ratio = overall_ratio(car, known.gear);
  if (out.certainty == Certainty::lost || !ratio) return {};
  const auto idle = idling_engine(found.heard ? found.heard->flat : flatten(*known.sound, out.wheel),
                                  std::abs(*ratio), known.lines.wheel);
  if (idle) {
    out = lost(known.prior,
               fmt::format("The sound does not support the stated speed: an engine idling at {:.0f} rpm "
                           "explains more of it; did the car move?",
                           60.0 * *idle));
    return idle;
  }
  const bool gears_heard = found.road_margin >= kGearsHeard;
  const bool as_noted =
      usual_scale(input.run.speed.source, out.scale) && !contradicts_steady(out.wheel, known.prior);
  if (out.certainty == Certainty::sure && (gears_heard || as_noted)) return {};
  if (!gears_heard && !possible_scale(input.run.speed.source, out.scale)) {
    out =
        lost(known.prior, fmt::format("The sound does not support the stated speed: only the engine is heard "
                                      "clearly, and it fits a speed {:+.1f} % from it.",
                                      percent(out.scale)));
    return {};
  }
  out.certainty = Certainty::doubtful;
  out.scale_sd = std::max(out.scale_sd, 0.006 * out.scale);
  out.wheel_rate_sd = out.scale_sd * known.prior.nominal.mean_rate();
  out.remarks.push_back(
      fmt::format("Only the engine is heard clearly, and it fits a speed {:+.1f} % from the stated one: the "
                  "sound does not "
                  "support the stated speed by itself.",
                  percent(out.scale)));
  return {};
}

// An engine in gear that is nowhere to be heard where it should be may turn at another speed; not if what it
// drives is heard in step with the wheels.
bool engine_unheard(const FoundAngle& found, const CarLines& lines) {
  return !machine_heard(lines) &&
         4 > std::count_if(found.lines.begin(), found.lines.end(), [](const FoundLine& line) {
           return line.line.source == LineSource::engine && line.followed;
         });
}

Tracking search_in_gear(const RunInput& input, const Car& car, Prepared& known) {
  const AngleSearch search(*known.sound, known.prior);
  const Gear stated = known.gear;
  std::string gear_remark;
  FoundAngle found;
  // In a wide range of speeds the engine's lines fit every gear; then only the stated one is sought.
  if (input.run.speed.source == SpeedSource::range) {
    found = search.find(known.lines.wheel);
  } else {
    GearFit fit = best_gear(search, car, known, gear_remark);
    known.gear = fit.gear;
    known.lines = std::move(fit.lines);
    found = std::move(fit.found);
  }
  Tracking out = from_found(found, known.prior, known.lines);
  const auto idle = doubt_engine_alone(input, car, known, found, out);
  if (idle) look_for_open_clutch(input, search, found, car, known, idle, out);
  if (out.certainty == Certainty::lost && !out.remarks.empty()) {
    known.gear = stated;
    return out;
  }
  if (out.certainty == Certainty::lost)
    if (const auto changing = found_changing(known)) out = from_found(*changing, known.prior, known.lines);
  if (!idle && (out.certainty == Certainty::lost || engine_unheard(found, known.lines)))
    look_for_open_clutch(input, search, found, car, known, {}, out);
  if (!gear_remark.empty()) out.remarks.push_back(gear_remark);
  return out;
}

Tracking search_in(const RunInput& input, const Car& car, Prepared& known) {
  const double metres_per_turn = car.tyre.rolling_circumference.value();
  const StatedSpeed& stated = input.run.speed;
  Tracking out = known.lines.tied ? search_in_gear(input, car, known) : search_in_neutral(input, known);
  const bool found_idling = out.certainty == Certainty::lost && !out.remarks.empty();
  out.gear = known.gear;
  if (!known.note.empty()) out.remarks.push_back(known.note);
  remark_on_needle(out, stated, metres_per_turn);
  remark_on_change(out, known.prior, stated, metres_per_turn);
  if (out.certainty == Certainty::lost && !found_idling)
    out.remarks.push_back(fmt::format(
        "The sound does not support the stated speed: no speed from {} to {} explains it better than its "
        "rivals.",
        to_text(Speed((1.0 + known.prior.low) * known.prior.nominal.mean_rate() * metres_per_turn),
                stated.unit, 0),
        to_text(Speed((1.0 + known.prior.high) * known.prior.nominal.mean_rate() * metres_per_turn),
                stated.unit, 0)));
  // Within the range nothing was contradicted.
  if (stated.source == SpeedSource::range && out.certainty != Certainty::lost) {
    out.scale_sd /= out.scale;
    out.scale = 1.0;
  }
  return out;
}

constexpr double kShortest = 2.0;  // s

// What was made of a run. Nothing known: no search would help, and the tracking says why.
struct Attempt {
  Tracking tracking;
  std::optional<Prepared> known;
};

// The road speed that goes with an engine speed; out of gear none does.
void use_engine_rate(const Car& car, const Gear& gear, bool tied, StatedSpeed& stated) {
  const auto ratio = overall_ratio(car, gear);
  stated.points.clear();
  if (!tied || !ratio || *ratio == 0.0) return;
  const ShaftRate wheel(stated.engine_rate->value() / std::abs(*ratio));
  stated.points = {{Seconds(0), wheel * car.tyre.rolling_circumference}};
}

// Every start from 0 to `spare` is tried, a minute of them at a time and then nearer; the most evidence
// counts.
double best_start(double spare, const std::function<double(double)>& evidence) {
  double best_start = 0.0, best = -1e300;
  const auto attempt = [&](double start) {
    const double found = evidence(start);
    if (found <= best) return;
    best = found;
    best_start = start;
  };
  double step = std::max(2.0, spare / 40.0);
  for (double start = 0.0; start <= spare; start += step) attempt(start);
  for (; step > 0.6; step *= 0.5) {
    const double middle = best_start;
    for (double start : {middle - 0.5 * step, middle + 0.5 * step})
      if (start >= 0.0 && start <= spare) attempt(start);
  }
  return best_start;
}

// A log with a clock of its own: seconds from its zero to the start of the recording. Every start that leaves
// the recording within the log is tried; the lines choose.
double start_in_log(const RunInput& input, const Sound& sound, const Car& car, const CarLines& lines) {
  const auto& points = input.run.speed.points;
  const double spare = points.empty() ? 0.0 : points.back().time.value() - length_of(input);
  if (spare <= 0.0) return 0.0;
  return best_start(spare, [&](double start) {
    StatedSpeed laid = input.run.speed;
    for (SpeedPoint& point : laid.points) point.time -= Seconds(start);
    const RatePrior prior =
        rate_prior(laid, length_of(input), 1.0 / car.tyre.rolling_circumference.value(), input.run.load);
    return AngleSearch(sound, prior).evidence_per_s(lines.wheel);
  });
}

// Nothing is searched yet, but what can't be is told at once. Lays the log of the run against the sound.
Attempt prepared(RunInput& input, const Car& car) {
  Run& run = input.run;
  if (run.speed.source == SpeedSource::exact_shaft)
    return {at_given_rate(run.speed.shaft_rate.value_or(ShaftRate(0)).value(), length_of(input)), {}};
  auto lines = car_lines(car, {run.gear, run.clutch});
  if (run.speed.engine_rate) use_engine_rate(car, run.gear, lines && lines->tied, run.speed);
  double start = 0.0;
  std::shared_ptr<const Sound> sound;
  if (lines && length_of(input) >= kShortest)
    sound = std::make_shared<Sound>(decimate_for_tracking(input.samples, input.sample_rate));
  if (run.speed.own_clock && sound) {
    start = start_in_log(input, *sound, car, *lines);
    for (SpeedPoint& point : run.speed.points) point.time -= Seconds(start);
  }
  const RatePrior prior =
      rate_prior(run.speed, length_of(input), 1.0 / car.tyre.rolling_circumference.value(), run.load);
  if (!lines) return {lost(prior, lines.error().sentence), {}};
  if (length_of(input) < kShortest)
    return {
        lost(prior, fmt::format("{:.1f} s of sound are too short to find the speed in.", length_of(input))),
        {}};
  Prepared known{prior, *std::move(lines), run.gear, std::move(sound), {}};
  if (start > 0.0)
    known.note = fmt::format(
        "The speed log was laid against the sound: the recording starts {:.1f} s into the log.", start);
  return {{}, std::move(known)};
}

// Of the sure runs in gear, by the source of the speed.
std::vector<double> sure_scales(std::span<const RunInput> runs, const std::vector<Attempt>& attempts,
                                SpeedSource source) {
  std::vector<double> scales;
  for (std::size_t i = 0; i < runs.size(); ++i)
    if (runs[i].run.speed.source == source && attempts[i].known && attempts[i].known->lines.tied &&
        attempts[i].tracking.certainty == Certainty::sure)
      scales.push_back(attempts[i].tracking.scale);
  return scales;
}

// Whether a run found surely puts the needle where two others or more, which agree, do not.
bool alone_against(const std::vector<double>& scales, double scale, double middle) {
  constexpr double agree = 0.02, apart = 0.05;
  const auto near = std::count_if(scales.begin(), scales.end(),
                                  [&](double other) { return std::abs(other / middle - 1.0) < agree; });
  return near >= 2 && std::abs(scale / middle - 1.0) > apart;
}

// One dial and one set of tyres: what is left is how well people read a needle, and the satellite's lag.
constexpr double kCommonSd = 0.01, kCommonReach = 0.025;

void narrow(RatePrior& prior, double scale) {
  prior.mean = scale - 1.0;
  prior.sd = kCommonSd;
  prior.low = prior.mean - kCommonReach;
  prior.high = prior.mean + kCommonReach;
}

// Near the others' scale; what is found there surely is believed instead.
void listen_again(Attempt& attempt, const RunInput& input, const Car& car, double scale) {
  Prepared near = *attempt.known;
  near.gear = input.run.gear;
  if (auto lines = car_lines(car, {near.gear, input.run.clutch})) near.lines = *std::move(lines);
  narrow(near.prior, scale);
  Tracking again = search_in(input, car, near);
  if (again.certainty == Certainty::sure) attempt.tracking = std::move(again);
}

// Only straight on: in a bend the wheels of the two sides turn unlike.
std::vector<TrackingLine> learnt_in_gear(const Car& car, std::span<const RunInput> runs,
                                         const std::vector<Attempt>& attempts) {
  std::vector<HeardOrders> heard;
  for (std::size_t i = 0; i < runs.size(); ++i) {
    const Attempt& attempt = attempts[i];
    if (!attempt.known || !attempt.known->lines.tied || attempt.tracking.certainty != Certainty::sure ||
        runs[i].run.turn != Turn::straight)
      continue;
    const Gear& gear = attempt.known->gear;
    const auto ratio = overall_ratio(car, gear);
    heard.push_back({gear, unlisted_orders(*attempt.known->sound, attempt.tracking.wheel,
                                           attempt.known->lines.predicted, ratio ? std::abs(*ratio) : 0.0)});
  }
  return learnt_lines(heard);
}

// The tread learnt takes the place of most of the tread that may be anywhere.
void add_learnt(CarLines& lines, std::span<const TrackingLine> learnt) {
  if (learnt.empty()) return;
  for (TrackingLine& line : lines.wheel)
    if (line.source == LineSource::tread) line.visible *= 0.5;
  lines.wheel.insert(lines.wheel.end(), learnt.begin(), learnt.end());
}

}  // namespace

std::vector<Tracking> track_all(const Car& car, std::span<const RunInput> given) {
  std::vector<RunInput> runs(given.begin(), given.end());
  std::vector<Attempt> attempts(runs.size());
  for_each_in_parallel(runs.size(), [&](std::size_t i) {
    Attempt& attempt = attempts[i] = prepared(runs[i], car);
    if (attempt.known && attempt.known->lines.tied)
      attempt.tracking = search_in(runs[i], car, *attempt.known);
  });
  const bool any_in_neutral = std::any_of(attempts.begin(), attempts.end(), [](const Attempt& attempt) {
    return attempt.known && !attempt.known->lines.tied;
  });
  const std::vector<TrackingLine> learnt =
      any_in_neutral ? learnt_in_gear(car, runs, attempts) : std::vector<TrackingLine>();
  std::vector<Tracking> out;
  for (std::size_t i = 0; i < runs.size(); ++i) {
    Attempt& attempt = attempts[i];
    const SpeedSource source = runs[i].run.speed.source;
    const std::vector<double> scales =
        source == SpeedSource::range ? std::vector<double>() : sure_scales(runs, attempts, source);
    const bool others_tell = !scales.empty();
    const double scale = others_tell ? middle_value(scales) : 1.0;
    if (attempt.known && others_tell && attempt.tracking.certainty == Certainty::lost)
      narrow(attempt.known->prior, scale);
    if (attempt.known && !attempt.known->lines.tied) add_learnt(attempt.known->lines, learnt);
    if (attempt.known && attempt.tracking.certainty == Certainty::lost &&
        (others_tell || !attempt.known->lines.tied))
      attempt.tracking = search_in(runs[i], car, *attempt.known);
    else if (attempt.known && attempt.tracking.certainty == Certainty::sure &&
             alone_against(scales, attempt.tracking.scale, scale))
      listen_again(attempt, runs[i], car, scale);
    out.push_back(std::move(attempt.tracking));
  }
  return out;
}

bool usual_scale(SpeedSource source, double scale) {
  const bool needle = source == SpeedSource::needle;
  return source == SpeedSource::range || (scale > (needle ? 0.92 : 0.97) && scale < (needle ? 1.01 : 1.03));
}

Tracking track(std::span<const float> samples, double sample_rate, const Car& car, const Run& run) {
  const RunInput input{run, samples, sample_rate};
  return track_all(car, std::span(&input, 1)).front();
}

Tracking track_near(double scale, std::span<const float> samples, double sample_rate, const Car& car,
                    const Run& run) {
  RunInput input{run, samples, sample_rate};
  Attempt attempt = prepared(input, car);
  if (!attempt.known) return std::move(attempt.tracking);
  narrow(attempt.known->prior, scale);
  return search_in(input, car, *attempt.known);
}

Seconds start_in_log(const Car& car, const Run& run, Seconds length, std::span<const Excerpt> excerpts) {
  const auto lines = car_lines(car, {run.gear, run.clutch});
  const auto& points = run.speed.points;
  const double spare = points.empty() ? 0.0 : points.back().time.value() - length.value();
  if (!run.speed.own_clock || !lines || spare <= 0.0) return Seconds(0.0);
  std::vector<Sound> sounds;
  for (const Excerpt& excerpt : excerpts)
    sounds.push_back(decimate_for_tracking(excerpt.samples, excerpt.sample_rate));
  return Seconds(best_start(spare, [&](double start) {
    double evidence = 0.0;
    for (std::size_t i = 0; i < sounds.size(); ++i) {
      const Seconds from = excerpts[i].from + Seconds(start), long_is(sounds[i].duration());
      const RatePrior prior = rate_prior(stated_within(run.speed, from, long_is), long_is.value(),
                                         1.0 / car.tyre.rolling_circumference.value(), run.load);
      evidence += AngleSearch(sounds[i], prior).evidence_per_s(lines->wheel);
    }
    return evidence;
  }));
}

}  // namespace gearhark
