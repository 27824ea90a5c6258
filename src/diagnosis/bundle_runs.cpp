#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>

#include "gearhark/diagnosis/bundle.hpp"

namespace gearhark {
namespace {

// What is felt is tapped a moment later, and a throttle that was moved takes a moment to settle.
constexpr double settling_s = 1.0, before_a_change_s = 1.0;
constexpr double shortest_s = 5.0;   // below, nothing is told apart (quality: "too short")
constexpr double longest_s = 180.0;  // of one run; what more would say does not pay for its memory
constexpr double longest_in_all_s = 3600.0;
constexpr double around_a_run_s = 5.0;  // fixes so near say something of the speed in it
constexpr double hole_s = 5.0;          // between fixes; more, and the needle knows better
constexpr double at_a_stand = 2.0;      // m/s
constexpr Speed slowest{20.0 / 3.6}, fastest{130.0 / 3.6};

std::string clock_words(double s) {
  const auto whole = static_cast<long>(std::max(0.0, s) + 0.5);
  return fmt::format("{}:{:02}", whole / 60, whole % 60);
}

// What the passenger has said so far.
struct State {
  std::string gear;
  std::optional<Load> load;
  Turn turn = Turn::straight;
  bool load_is_newer = false;  // than the gear

  // Whether the tap said something new.
  bool take(const BundleTap& tap) {
    const State before = *this;
    if (tap.kind == TapKind::gear) gear = tap.value;
    if (tap.kind == TapKind::throttle)
      load =
          static_cast<Load>(std::find(load_words.begin(), load_words.end(), tap.value) - load_words.begin());
    if (tap.kind == TapKind::road)
      turn =
          static_cast<Turn>(std::find(turn_words.begin(), turn_words.end(), tap.value) - turn_words.begin());
    load_is_newer = tap.kind == TapKind::throttle || (tap.kind == TapKind::road && load_is_newer);
    return gear != before.gear || load != before.load || turn != before.turn;
  }
};

// Between two changes.
struct Stretch {
  double from = 0.0, to = 0.0;
  State state;
};

std::string words_of(const State& s) {
  return fmt::format("gear {}, {}, {}", s.gear.empty() ? "not told" : s.gear,
                     s.load ? to_text(*s.load) : "throttle not told", to_text(s.turn));
}

// The sentence about a stretch that is not used.
std::string left_out(const Stretch& s, const std::string& why) {
  return fmt::format("{} to {} ({}) is not used: {}", clock_words(s.from), clock_words(s.to),
                     words_of(s.state), why);
}

class Stretches {
 public:
  explicit Stretches(const std::vector<BundleTap>& taps, double end) {
    const bool planned =
        std::any_of(taps.begin(), taps.end(), [](const BundleTap& t) { return t.kind == TapKind::run; });
    used_ = !planned;
    for (const BundleTap& tap : taps) take(tap);
    close(end, before_a_change_s);
  }
  std::vector<Stretch> all;

 private:
  void take(const BundleTap& tap) {
    const double at = tap.time.value();
    if (tap.kind == TapKind::run || tap.kind == TapKind::end) {
      // Where the page itself said when to stop, nothing was changed before.
      close(at, tap.kind == TapKind::end ? 0.0 : before_a_change_s);
      used_ = tap.kind == TapKind::run;
      return;
    }
    State next = state_;
    if (!next.take(tap)) {
      state_.load_is_newer = next.load_is_newer;
      return;
    }
    close(at, before_a_change_s);
    state_ = next;
  }
  void close(double at, double guard) {
    if (used_ && at - begun_ > settling_s + guard && (!state_.gear.empty() || state_.load))
      all.push_back({begun_ + settling_s, at - guard, state_});
    begun_ = at;
  }
  State state_;
  double begun_ = 0.0;
  bool used_ = true;
};

// Neutral by either tap: out of gear, or the foot on the clutch. A throttle that is told after "N" means a
// gear again, but which?
std::optional<Run> driven_as(const State& s, std::string& why) {
  Run run;
  run.gear = {s.gear};
  if (s.gear.empty()) why = "no gear was tapped before it";
  if (!s.load && !run.gear.neutral()) why = "no throttle was tapped before it";
  if (run.gear.neutral() && s.load && *s.load != Load::neutral && s.load_is_newer)
    why = "it has a throttle but no gear";
  if (!why.empty()) return {};
  if (s.load == Load::neutral) run.gear = {"N"};
  run.load = run.gear.neutral() ? Load::neutral : *s.load;
  run.turn = s.turn;
  return run;
}

// The part of a stretch of time that lies in one stretch of sound.
struct Part {
  double from, to;
  const BundleSound* sound;
  const ClockStretch* clock;
  [[nodiscard]] Seconds in_file(double time) const {
    return Seconds(clock->frame_at(Seconds(time)) / sound->rate_hz);
  }
};

std::vector<Part> parts_of(const Stretch& s, const std::vector<BundleSound>& sounds) {
  std::vector<Part> out;
  for (const BundleSound& sound : sounds)
    for (const ClockStretch& clock : sound.clock) {
      const double from = std::max(s.from, clock.from.value()), to = std::min(s.to, clock.to.value());
      if (to > from) out.push_back({from, to, &sound, &clock});
    }
  return out;
}

// The fixes about a part, if they follow each other closely enough. Their times count from the start of the
// file, as run_sound() expects.
std::optional<StatedSpeed> tracked(const Bundle& bundle, const Part& part) {
  StatedSpeed out;
  out.source = SpeedSource::satellite;
  if (!bundle.track) return {};
  double last = part.from;
  for (const SpeedPoint& point : bundle.track->points) {
    const double at = point.time.value();
    if (at < part.from - around_a_run_s || at > part.to + around_a_run_s) continue;
    if (at > part.from && at - last > hole_s) return {};
    last = std::max(last, at);
    out.points.push_back({part.in_file(at), point.speed});
  }
  if (out.points.size() < 2 || part.to - last > hole_s) return {};
  return out;
}

std::optional<StatedSpeed> told(const Bundle& bundle, const Part& part) {
  const double middle = 0.5 * (part.from + part.to);
  for (const SpeedTold& said : bundle.notes.speeds_told) {
    if (middle < said.from.value() || middle > said.to.value()) continue;
    StatedSpeed out = said.speed;
    for (SpeedPoint& point : out.points) point.time = part.in_file(point.time.value());
    return out;
  }
  return {};
}

StatedSpeed anything() {
  StatedSpeed out;
  out.source = SpeedSource::range;
  out.points = {{Seconds(0), slowest}, {Seconds(0), fastest}};
  return out;
}

bool stands(const StatedSpeed& speed) {
  return speed.source == SpeedSource::satellite &&
         std::all_of(speed.points.begin(), speed.points.end(),
                     [](const SpeedPoint& p) { return p.speed.value() < at_a_stand; });
}

class Builder {
 public:
  explicit Builder(const Bundle& bundle) : bundle_(bundle) {}

  BundleRuns build() {
    double end = 0.0;
    for (const BundleSound& sound : bundle_.sounds)
      for (const ClockStretch& clock : sound.clock) end = std::max(end, clock.to.value());
    const Stretches stretches(bundle_.notes.taps, end);
    for (const Stretch& stretch : stretches.all) add(stretch);
    return std::move(out_);
  }

 private:
  void leave_out(const Stretch& s, const std::string& why) { out_.left_out.push_back(left_out(s, why)); }

  void add(const Stretch& stretch) {
    std::string why;
    const auto run = driven_as(stretch.state, why);
    if (!run) return leave_out(stretch, why);
    const auto parts = parts_of(stretch, bundle_.sounds);
    if (parts.empty()) leave_out(stretch, "there is no sound of it");
    for (const Part& part : parts) add(*run, {part.from, part.to, stretch.state}, part);
  }

  void add(Run run, const Stretch& s, Part part) {
    if (part.to - part.from < shortest_s)
      return leave_out(
          s, fmt::format("{:.1f} s once settled, and {:.0f} s are needed", part.to - part.from, shortest_s));
    if (in_all_s_ + std::min(longest_s, part.to - part.from) > longest_in_all_s)
      return leave_out(s, "there is an hour of runs before it already");
    if (part.to - part.from > longest_s) {
      part.to = part.from + longest_s;
      leave_out({part.to, s.to, s.state},
                fmt::format("the first {:.0f} minutes of this run are enough", longest_s / 60.0));
    }
    auto speed = tracked(bundle_, part);
    if (!speed) speed = told(bundle_, part);
    run.speed = speed.value_or(anything());
    if (stands(run.speed)) return leave_out(s, "the car stood still");
    in_all_s_ += part.to - part.from;
    run.file = bundle_.file + "/" + part.sound->name;
    run.copy = part.sound->copy;
    run.from = part.in_file(part.from);
    run.to = part.in_file(part.to);
    out_.runs.push_back(std::move(run));
  }

  const Bundle& bundle_;
  BundleRuns out_;
  double in_all_s_ = 0.0;
};

}  // namespace

BundleRuns runs_of(const Bundle& bundle) { return Builder(bundle).build(); }

}  // namespace gearhark
