// The speed of cars that the synthesiser invented: their true angle is known.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <numbers>
#include <optional>
#include <vector>

#include "gearhark/speed/tracking.hpp"
#include "gearhark/synthesis/random_car.hpp"
#include "gearhark/synthesis/synthesis.hpp"

using namespace gearhark;
using namespace gearhark::literals;

namespace {

struct Driven {
  Car car;
  std::vector<Gear> gears;  // forward
  std::size_t gear = 0;     // the true one
  Sound sound;
  Run note;  // right but for a needle 4 % high
};

Driven driven(std::uint64_t seed, Course course, const std::optional<SoundFault>& fault = {}) {
  Driven out{random_car(seed), {}, 0, {}, {}};
  std::copy_if(out.car.gears.begin(), out.car.gears.end(), std::back_inserter(out.gears),
               [](const Gear& gear) { return !gear.neutral() && gear.label != "R"; });
  out.gear = 1 + seed % (out.gears.size() - 1);
  SoundSettings settings;
  settings.car_seed = settings.run_seed = seed;
  settings.run.gear = out.gears[out.gear];
  settings.run.course = course;
  settings.run.speed = Speed(10.0 + 4.0 * static_cast<double>(out.gear));
  settings.run.end_speed = settings.run.speed * 1.3;
  settings.run.duration = 16_s;
  settings.fault = fault;
  out.sound = *synthesise(out.car, settings);
  out.note.gear = settings.run.gear;
  out.note.speed.points = {{0_s, settings.run.speed * 1.04}};
  if (course == Course::sweep)
    out.note.speed.points.push_back({settings.run.duration, settings.run.end_speed * 1.04});
  return out;
}

SoundFault loud(const std::string& part, Fault what) {
  SoundFault fault;
  fault.part = part;
  fault.fault = what;
  fault.level = Decibels::already(12.0);
  return fault;
}

Tracking tracked(const Driven& run, std::size_t gear) {
  Run note = run.note;
  note.gear = run.gears[gear];
  return track(run.sound.samples, run.sound.sample_rate, run.car, note);
}

// Share of the energy of a line at this order of the wheel that stays in the best bin of 4 s; the middle one
// of all stretches.
double share_kept(const Motion& truth, const AngleTrack& found, double order) {
  constexpr double stretch = 4.0, step = 0.005;
  const auto true_angle = [&](double t) {
    return truth.wheel[static_cast<std::size_t>(std::lround(t / truth.step_s))];
  };
  std::vector<double> shares;
  for (double start = 0.0; start + stretch < found.duration(); start += stretch) {
    double best = 0.0;
    for (int bin = -4; bin <= 4; ++bin) {
      std::complex<double> sum;
      int n = 0;
      for (double t = start; t < start + stretch; t += step, ++n) {
        const double cycles = order * (true_angle(t) - found.at(t)) - bin * (t - start) / stretch;
        sum += std::polar(1.0, 2.0 * std::numbers::pi * (cycles - std::floor(cycles)));
      }
      best = std::max(best, std::norm(sum / static_cast<double>(n)));
    }
    shares.push_back(best);
  }
  const auto middle = shares.begin() + static_cast<std::ptrdiff_t>(shares.size() / 2);
  std::nth_element(shares.begin(), middle, shares.end());
  return *middle;
}

}  // namespace

TEST_CASE("of invented cars the right gear is kept, one that is one off is found, steady and sweeping") {
  const auto [seed, course] = GENERATE(table<std::uint64_t, Course>(
      {{1, Course::steady}, {2, Course::sweep}, {3, Course::steady}, {4, Course::sweep}}));
  const Driven run = driven(seed, course);
  const Tracking right = tracked(run, run.gear);
  CHECK(right.gear == run.gears[run.gear]);
  CHECK(right.certainty == Certainty::sure);
  CHECK(right.wheel.mean_rate() == Approx(run.sound.truth.mean_wheel.value()).epsilon(2e-4));
  CHECK(std::abs(right.wheel.mean_rate() - run.sound.truth.mean_wheel.value()) < 2.0 * right.wheel_rate_sd);
  CHECK(share_kept(run.sound.truth.motion, right.wheel, 200.0) > 0.8);
  const Tracking low = tracked(run, run.gear - 1);
  CHECK(low.gear == run.gears[run.gear]);
  if (run.gear + 1 < run.gears.size()) CHECK(tracked(run, run.gear + 1).gear == run.gears[run.gear]);
}

TEST_CASE("a generator louder than everything else is not taken for the engine or the gears") {
  const auto seed = GENERATE(as<std::uint64_t>(), 1, 4, 5, 8);
  const Driven run = driven(seed, Course::steady, loud("generator", Fault::worn_machine));
  const Tracking found = tracked(run, run.gear);
  CHECK(found.gear == run.gears[run.gear]);
  CHECK(found.certainty != Certainty::lost);
  CHECK(found.wheel.mean_rate() == Approx(run.sound.truth.mean_wheel.value()).epsilon(3e-4));
}

// Of fourth gear a knock once per turn made second, where the engine turns twice as fast and has half orders.
TEST_CASE("a chipped tooth louder than everything else is not taken for the engine or another gear") {
  const auto seed = GENERATE(as<std::uint64_t>(), 4, 22, 44, 58, 62);
  const Driven sound_car = driven(seed, Course::steady);
  const auto& pairs = sound_car.car.pairs;
  const auto pair = std::find_if(pairs.begin(), pairs.end(), [&](const GearPair& p) {
    return p.selected_by == sound_car.gears[sound_car.gear];
  });
  REQUIRE(pair != pairs.end());
  const Driven run = driven(seed, Course::steady, loud(pair->id, Fault::chipped_tooth));
  const Tracking found = tracked(run, run.gear);
  CHECK(found.gear == run.gears[run.gear]);
  CHECK(found.certainty != Certainty::lost);
  CHECK(found.wheel.mean_rate() == Approx(run.sound.truth.mean_wheel.value()).epsilon(3e-4));
}

TEST_CASE("the turns of a lumpy tyre are not taken for those of an idling engine or of gears") {
  const auto seed = GENERATE(as<std::uint64_t>(), 3, 10, 14, 18);
  const Driven run = driven(seed, Course::steady, loud("tyre_fl", Fault::uneven_wear));
  const Tracking found = tracked(run, run.gear);
  CHECK(found.certainty == Certainty::sure);
  CHECK(found.wheel.mean_rate() == Approx(run.sound.truth.mean_wheel.value()).epsilon(1e-3));
}

TEST_CASE("the knocks of a loud dry joint are not taken for the turns of an engine or another gear") {
  const auto [seed, part] =
      GENERATE(table<std::uint64_t, std::string>({{9, "outer_joint_l"}, {30, "propshaft_joint_front"}}));
  const Driven run = driven(seed, Course::steady, loud(part, Fault::dry_joint));
  const Tracking found = tracked(run, run.gear);
  CHECK(found.gear == run.gears[run.gear]);
  CHECK(found.certainty == Certainty::sure);
  CHECK(found.wheel.mean_rate() == Approx(run.sound.truth.mean_wheel.value()).epsilon(3e-4));
}

TEST_CASE("what idles with an engine in neutral does not put its rate wrong") {
  constexpr std::uint64_t seed = 23;  // whose gears alone would have it a third slower
  const Car car = random_car(seed);
  SoundSettings settings;
  settings.car_seed = settings.run_seed = seed;
  settings.run.gear = Gear{"N"};
  settings.run.load = Load::neutral;
  settings.run.course = Course::coast_down;
  settings.run.speed = Speed(25.0);
  settings.run.duration = 20_s;
  settings.run.idle = ShaftRate(12.7);
  const Sound sound = *synthesise(car, settings);
  const std::vector<double>& wheel = sound.truth.motion.wheel;
  const auto needle = [&](std::size_t from) {
    return ShaftRate(1.03 * (wheel[from + 1000] - wheel[from])) * car.tyre.rolling_circumference;
  };
  Run note;
  note.gear = settings.run.gear;
  note.load = Load::neutral;
  note.speed.points = {{0_s, needle(0)}, {20_s, needle(wheel.size() - 1001)}};
  const Tracking tracking = track(sound.samples, sound.sample_rate, car, note);
  if (tracking.engine)
    CHECK(tracking.engine->mean_rate() == Approx(sound.truth.mean_engine.value()).epsilon(0.01));
  CHECK(tracking.wheel.mean_rate() == Approx(sound.truth.mean_wheel.value()).epsilon(0.002));
}
