#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>

#include "gearhark/diagnosis/bundle.hpp"

namespace gearhark {
namespace {

// What is felt is tapped a moment later, and a throttle that was moved takes a moment to settle.
constexpr double settling_s = 1.0, before_a_change_s = 1.0;
constexpr double shortest_s = 5.0;  // below, nothing is told apart (quality: "too short")
constexpr double worth_saying_s = 1.0;
constexpr double longest_s = 180.0;  // of one run; what more would say does not pay for its memory
constexpr double longest_in_all_s = 3600.0;
constexpr double around_a_run_s = 5.0;     // fixes so near say something of the speed in it
constexpr double hole_s = 5.0;             // between fixes; more, and the needle knows better
constexpr double forgotten_after_s = 5.0;  // of a gap in the sound
constexpr double at_a_stand = 2.0;         // m/s
constexpr Speed slowest{20.0 / 3.6}, fastest{130.0 / 3.6};

std::string clock_words(double s) {
  const auto whole = static_cast<long>(std::max(0.0, s) + 0.5);
  return fmt::format("{}:{:02}", whole / 60, whole % 60);
}

template <class Words>
auto place_in(const Words& words, const std::string& word) {
  return std::find(words.begin(), words.end(), word) - words.begin();
}

// What the passenger has said so far.
struct State {
  std::string gear;
  std::optional<Load> load;
  std::optional<Turn> turn = Turn::straight;
  Clutch clutch = Clutch::engaged;
  bool operator==(const State&) const = default;

  void take(const BundleTap& tap) {
    const bool known = !tap.value.empty();
    if (tap.kind == TapKind::gear) gear = tap.value;
    if (tap.kind == TapKind::throttle)
      load = known ? std::optional(static_cast<Load>(place_in(load_words, tap.value))) : std::nullopt;
    if (tap.kind == TapKind::road)
      turn = known ? std::optional(static_cast<Turn>(place_in(turn_words, tap.value))) : std::nullopt;
    if (tap.kind == TapKind::clutch)
      clutch = tap.value == "pedal down" ? Clutch::pedal_down : Clutch::engaged;
  }
  [[nodiscard]] bool empty() const { return gear.empty() && !load; }
};

// Between two changes.
struct Stretch {
  double from = 0.0, to = 0.0;
  State state;
};

std::string words_of(const State& s) {
  return fmt::format("gear {}, {}, {}", s.gear.empty() ? "not told" : s.gear,
                     s.load ? to_text(*s.load) : "throttle not told",
                     s.turn ? to_text(*s.turn) : "road not told");
}

// The sentence about a stretch that is not used.
std::string not_used(const Stretch& s, const std::string& why) {
  return fmt::format("{} to {} ({}) is not used: {}", clock_words(s.from), clock_words(s.to),
                     words_of(s.state), why);
}

// From taps and gaps in the sound, by time, to what lies between them.
class Stretches {
 public:
  Stretches(const Bundle& bundle, double end) : planned_(has_plan(bundle)) {
    auto gap = bundle.gaps.begin();
    for (const BundleTap& tap : bundle.notes.taps) {
      for (; gap != bundle.gaps.end() && gap->from <= tap.time; ++gap) lose(*gap);
      take(tap);
    }
    for (; gap != bundle.gaps.end(); ++gap) lose(*gap);
    close(end, before_a_change_s);
  }
  std::vector<Stretch> all;
  std::vector<std::string> left_out;

 private:
  static bool has_plan(const Bundle& bundle) {
    const auto& taps = bundle.notes.taps;
    return std::any_of(taps.begin(), taps.end(), [](const BundleTap& t) { return t.kind == TapKind::run; });
  }

  void take(const BundleTap& tap) {
    const double at = tap.time.value();
    if (tap.kind == TapKind::run || tap.kind == TapKind::end) {
      if (tap.value == "spoilt" && in_run_)
        spoil(at);
      else
        close(at, tap.kind == TapKind::end ? 0.0 : before_a_change_s);
      in_run_ = tap.kind == TapKind::run;
      if (in_run_) run_begins_ = all.size();
      return;
    }
    State next = state_;
    next.take(tap);
    if (next == state_) return;
    close(at, before_a_change_s);
    state_ = next;
  }

  // Of a spoilt run nothing is used, whatever was tapped in it.
  void spoil(double at) {
    all.resize(std::min(all.size(), run_begins_));
    left_out.push_back(not_used({begun_, at, state_}, "it was marked as spoilt"));
    begun_ = at;
  }

  // Short ones are seen when the sound is cut up. After a long one nobody knows what was driven meanwhile.
  void lose(const BundleGap& gap) {
    if ((gap.to - gap.from).value() < forgotten_after_s) return;
    close(gap.from.value(), 0.0);
    if (!state_.empty() && (!planned_ || in_run_))
      left_out.push_back(
          fmt::format("From {} to {} there is no sound; what follows is not used until gear and throttle are "
                      "told again",
                      clock_words(gap.from.value()), clock_words(gap.to.value())));
    state_ = {};
    in_run_ = false;
    begun_ = gap.to.value();
  }

  void close(double at, double guard) {
    const bool used = (in_run_ || !planned_) && !state_.empty();
    if (used && at - begun_ > settling_s + guard) all.push_back({begun_ + settling_s, at - guard, state_});
    begun_ = std::max(begun_, at);
  }

  const bool planned_;
  State state_;
  double begun_ = 0.0;
  bool in_run_ = false;
  std::size_t run_begins_ = 0;
};

// As a run, or nothing and why. Out of gear by either word, or by the pedal, the throttle does not matter.
std::optional<Run> driven_as(const State& s, std::string& why) {
  Run run;
  run.gear = {s.load == Load::neutral && s.clutch == Clutch::engaged ? "N" : s.gear};
  run.clutch = s.clutch;
  const bool free = run.gear.neutral() || s.clutch == Clutch::pedal_down;
  if (run.gear.label.empty()) why = "no gear was told";
  if (!s.load && !free) why = "no throttle was told";
  if (!s.turn) why = "the road was not told";
  if (!why.empty()) return {};
  run.load = free ? Load::neutral : *s.load;
  run.turn = *s.turn;
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
    const Stretches stretches(bundle_, end);
    out_.left_out = stretches.left_out;
    for (const BundleSound& sound : bundle_.sounds)
      if (sound.clock.empty())
        out_.left_out.push_back(fmt::format("{} is not used: nothing says when it was recorded", sound.name));
    for (const Stretch& stretch : stretches.all) add(stretch);
    return std::move(out_);
  }

 private:
  void leave_out(const Stretch& s, const std::string& why) { out_.left_out.push_back(not_used(s, why)); }

  void add(const Stretch& stretch) {
    std::string why;
    const auto run = driven_as(stretch.state, why);
    if (!run) return leave_out(stretch, why);
    const auto parts = parts_of(stretch, bundle_.sounds);
    if (parts.empty()) leave_out(stretch, "there is no sound of it");
    for (const Part& part : parts) add(*run, {part.from, part.to, stretch.state}, part);
  }

  void add(Run run, const Stretch& s, Part part) {
    // Two taps for one change.
    if (part.to - part.from < worth_saying_s) return;
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
    run.from = std::max(Seconds(0.0), part.in_file(part.from));
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
