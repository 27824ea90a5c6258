#include "gearhark/synthesis/synthesis.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <numbers>

#include "../../src/synthesis/filters.hpp"
#include "../../src/synthesis/turning.hpp"
#include "small_car.hpp"

using namespace gearhark;

namespace {

// A short, steady run: nothing wanders, so that lines stand at one frequency.
SoundSettings steady_run(double seconds = 4.0) {
  SoundSettings settings;
  settings.run.duration = Seconds(seconds);
  settings.run.wander = 0.0;
  return settings;
}

SoundSettings with_fault(std::string part, Fault fault, double seconds = 4.0) {
  SoundSettings settings = steady_run(seconds);
  settings.fault.emplace();
  settings.fault->part = std::move(part);
  settings.fault->fault = fault;
  settings.fault->level = Decibels::already(10.0);
  settings.fault->slip = 0.0;
  settings.fault->jitter = 0.0;
  return settings;
}

Sound made(const SoundSettings& settings) {
  auto sound = synthesise(small_car(), settings);
  if (!sound) FAIL(sound.error().sentence);
  return *std::move(sound);
}

double events_per_wheel_turn(const Sound& sound) {
  const auto& times = sound.truth.event_times;
  REQUIRE(times.size() > 10);
  return static_cast<double>(times.size() - 1) / (times.back() - times.front()) /
         sound.truth.mean_wheel.value();
}

// Power at one order per wheel turn, by projection on the true angle with a Hann window.
double power_at_order(const std::vector<float>& samples, const Sound& sound, double order) {
  const Motion& motion = sound.truth.motion;
  const double per_step = motion.step_s * sound.sample_rate;
  std::complex<double> sum = 0.0;
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const double place = static_cast<double>(i) / per_step;
    const auto low = static_cast<std::size_t>(place);
    const double turns =
        std::lerp(motion.wheel[low], motion.wheel[low + 1], place - static_cast<double>(low));
    const double around =
        2.0 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(samples.size());
    sum += static_cast<double>(samples[i]) * (1.0 - std::cos(around)) *
           std::polar(1.0, -2.0 * std::numbers::pi * order * turns);
  }
  return std::norm(sum);
}

std::vector<float> squared(std::vector<float> samples) {
  for (float& sample : samples) sample *= sample;
  return samples;
}

// A line's power over the mean of places 3 to 6 % to either side, dB.
double stands_out_db(const std::vector<float>& samples, const Sound& sound, double order) {
  double beside = 0.0;
  for (double away : {-0.061, -0.047, -0.033, 0.031, 0.043, 0.057})
    beside += power_at_order(samples, sound, order * (1.0 + away)) / 6.0;
  return 10.0 * std::log10(power_at_order(samples, sound, order) / beside);
}

std::vector<float> rest_of(const Sound& sound) {
  std::vector<float> rest = sound.samples;
  for (std::size_t i = 0; i < rest.size(); ++i) rest[i] -= sound.fault_share[i];
  return rest;
}

double level_db(const Sound& sound) {
  return 20.0 * std::log10(synth::rms(sound.fault_share) / synth::rms(rest_of(sound)));
}

constexpr double final_drive = 41.0 / 10.0;

}  // namespace

// Multipliers of bearing 6205 (9 balls of 7.94 mm on 39.04 mm): Case Western Reserve University bearing data
// centre.
TEST_CASE("each race and ball of a published bearing is struck as often as its multiplier says") {
  const auto [fault, multiplier] = GENERATE(table<Fault, double>({{Fault::outer_race, 3.5848},
                                                                  {Fault::inner_race, 5.4152},
                                                                  {Fault::rolling_element, 4.7135},
                                                                  {Fault::cage, 0.39828}}));
  const Sound sound = made(with_fault("pinion_head", fault));
  // The cage's own rattle is irregular by 5 % from turn to turn.
  const double tolerance = fault == Fault::cage ? 0.02 : 0.0005;
  CHECK(events_per_wheel_turn(sound) == Approx(multiplier * final_drive).epsilon(tolerance));
}

// Rexnord ZA-2115 as the IMS data set of the University of Cincinnati has it: an element passes 139.9 times a
// second at 2000 rpm, and strikes both races each time.
TEST_CASE("an element of a published bearing with a contact angle strikes as often as its multiplier says") {
  Car car = small_car();
  for (Bearing& bearing : car.bearings) {
    if (bearing.id != "pinion_head") continue;
    bearing.count = 16;
    bearing.element_diameter = Length(0.331 * 0.0254);
    bearing.pitch_diameter = Length(2.815 * 0.0254);
    bearing.contact_angle_degrees = 15.17;
  }
  const auto sound = synthesise(car, with_fault("pinion_head", Fault::rolling_element));
  REQUIRE(sound);
  CHECK(events_per_wheel_turn(*sound) == Approx(2.0 * 139.9 / (2000.0 / 60.0) * final_drive).epsilon(0.002));
}

TEST_CASE("slip slows the cage: the outer race is struck less often, the inner race more often") {
  SoundSettings settings = with_fault("pinion_head", Fault::outer_race);
  settings.fault->slip = 0.015;
  const Sound outer = made(settings);
  CHECK(*outer.truth.slip == 0.015);
  CHECK(events_per_wheel_turn(outer) == Approx(3.58478 * final_drive * 0.985).epsilon(0.0005));
  settings.fault->fault = Fault::inner_race;
  // Outer plus inner passages stay 9 a turn, whatever the slip.
  CHECK(events_per_wheel_turn(made(settings)) ==
        Approx((9.0 - 3.58478 * 0.985) * final_drive).epsilon(0.0005));
}

TEST_CASE("unasked, slip is drawn between 0.5 and 2 per cent and stays the same in every run of a car") {
  SoundSettings settings = with_fault("pinion_head", Fault::outer_race, 1.0);
  settings.fault->slip.reset();
  const double first = *made(settings).truth.slip;
  CHECK(first >= 0.005);
  CHECK(first <= 0.02);
  settings.run_seed = 2;
  CHECK(*made(settings).truth.slip == first);
  settings.car_seed = 2;
  CHECK(*made(settings).truth.slip != first);
}

TEST_CASE("the knocks are in the sound: the fault's envelope has a line at the order of its events") {
  const Sound sound = made(with_fault("pinion_head", Fault::outer_race));
  CHECK(stands_out_db(squared(sound.fault_share), sound, 3.58478 * final_drive) > 20.0);
  CHECK(stands_out_db(squared(sound.fault_share), sound, 3.58478 * final_drive * 0.913) < 6.0);
}

TEST_CASE("jitter spreads a bearing's upper harmonics, a chipped tooth stays locked to its shaft") {
  SoundSettings settings = with_fault("pinion_head", Fault::outer_race, 6.0);
  const Sound exact = made(settings);
  settings.fault->jitter = 0.02;
  const Sound jittered = made(settings);
  const double sixth = 6 * 3.58478 * final_drive;
  CHECK(stands_out_db(squared(exact.fault_share), exact, sixth) >
        stands_out_db(squared(jittered.fault_share), jittered, sixth) + 6.0);

  const Sound chipped = made(with_fault("ring_and_pinion", Fault::chipped_tooth, 6.0));
  const double per_turn = events_per_wheel_turn(chipped);
  const bool on_pinion = per_turn > 2.0;
  CHECK(per_turn == Approx(on_pinion ? final_drive : 1.0).epsilon(0.001));
  CHECK(stands_out_db(squared(chipped.fault_share), chipped, 8 * per_turn) > 15.0);
}

// McFadden and Smith 1984: the ring that turns carries its defect through the load zone; the ring that stands
// does not.
TEST_CASE("a hub's outer race defect swells once per wheel turn, its inner race defect does not") {
  SoundSettings settings = with_fault("hub_left", Fault::outer_race, 6.0);
  const auto swell = [](const Sound& sound) {
    const auto envelope = squared(sound.fault_share);
    return std::sqrt(power_at_order(envelope, sound, 1.0 * 0.998) / power_at_order(envelope, sound, 0.0));
  };
  const double turning = swell(made(settings));
  settings.fault->fault = Fault::inner_race;
  CHECK(turning > 4.0 * swell(made(settings)));
}

TEST_CASE("six decibels more asked for are six decibels more fault") {
  SoundSettings settings = with_fault("pinion_head", Fault::outer_race);
  const double loud = level_db(made(settings));
  settings.fault->level = Decibels::already(4.0);
  CHECK(loud - level_db(made(settings)) == Approx(6.0).margin(0.1));
}

TEST_CASE("the level is that of the third-octave band where the fault stands out most") {
  const Fault fault = GENERATE(Fault::outer_race, Fault::inner_race);
  SoundSettings settings = with_fault("pinion_head", fault);
  settings.surroundings.healthy_bearings = Decibels::already(-60.0);
  const Sound sound = made(settings);
  const auto with = synth::third_octaves(sound.fault_share), without = synth::third_octaves(rest_of(sound));
  double most = 0.0;
  for (std::size_t band = 0; band < with.size(); ++band) most = std::max(most, with[band] / without[band]);
  // Measured behind cabin and microphone, whose colour changes within a band.
  CHECK(10.0 * std::log10(most) == Approx(10.0).margin(0.6));
  CHECK(sound.truth.level->value() == Approx(10.0));
}

TEST_CASE("the same seeds give the same samples, another run is another recording of the same car") {
  SoundSettings settings = with_fault("pinion_head", Fault::outer_race, 1.0);
  const Sound first = made(settings), again = made(settings);
  CHECK(first.samples == again.samples);
  settings.run_seed = 2;
  const Sound other = made(settings);
  CHECK(first.samples != other.samples);
  CHECK(first.truth.rolling_circumference == other.truth.rolling_circumference);
}

TEST_CASE("a fault leaves the rest of the car as it was") {
  SoundSettings settings = with_fault("pinion_head", Fault::outer_race, 1.0);
  settings.fault->level = Decibels::already(-20.0);
  const auto with = rest_of(made(settings));
  settings.fault.reset();
  const auto without = made(settings).samples;
  const double ratio =
      synth::rms(with) / synth::rms(without);  // the phone's level holds fault and rest together
  double difference = 0.0;
  for (std::size_t i = 0; i < with.size(); ++i)
    difference = std::max(difference,
                          std::abs(static_cast<double>(with[i]) - ratio * static_cast<double>(without[i])));
  CHECK(difference < 1e-3);
}

TEST_CASE("doubling the speed doubles every Hertz and no order") {
  SoundSettings settings = steady_run();
  settings.surroundings.gears = Decibels::already(20.0);
  for (double speed : {10.0, 20.0}) {
    settings.run.speed = Speed(speed);
    const Sound sound = made(settings);
    CHECK(sound.truth.mean_wheel.value() ==
          Approx(speed / sound.truth.rolling_circumference.value()).epsilon(1e-3));
    // Ring and pinion: 41 teeth a wheel turn. Third gear: 26 layshaft teeth x 21/26 x 4.1.
    CHECK(stands_out_db(sound.samples, sound, 41.0) > 15.0);
    CHECK(stands_out_db(sound.samples, sound, 21.0 * final_drive) > 15.0);
  }
}

TEST_CASE("in neutral no gear pair is under load, and the layshaft turns with the idling engine") {
  SoundSettings settings = steady_run();
  settings.surroundings.gears = Decibels::already(20.0);
  const Sound driving = made(settings);
  const double loaded = stands_out_db(driving.samples, driving, 21.0 * final_drive);
  settings.run.gear = Gear{"N"};
  const Sound neutral = made(settings);
  CHECK(stands_out_db(neutral.samples, neutral, 21.0 * final_drive) < loaded - 10.0);
  CHECK(neutral.truth.mean_engine.value() == Approx(14.0).epsilon(0.05));

  SoundSettings layshaft = with_fault("layshaft_front", Fault::outer_race);
  layshaft.run.gear = Gear{"N"};
  const Sound rattle = made(layshaft);
  const double layshaft_rate = rattle.truth.mean_engine.value() * 17.0 / 29.0;
  const double multiplier = 8.0 / 2.0 * (1.0 - 8.0 / 34.0);
  const double per_second = events_per_wheel_turn(rattle) * rattle.truth.mean_wheel.value();
  CHECK(per_second == Approx(multiplier * layshaft_rate).epsilon(0.005));
}

TEST_CASE("a part that nothing turns is silent") {
  SoundSettings settings = with_fault("layshaft_front", Fault::outer_race, 1.0);
  settings.run.gear = Gear{"N"};
  settings.run.clutch = Clutch::pedal_down;
  const Sound sound = made(settings);
  CHECK_FALSE(sound.truth.level);
  CHECK(sound.truth.event_times.empty());
  CHECK(synth::rms(sound.fault_share) < 1e-12);
}

// Service literature (general): head bearing louder under power; a left bend loads the right side.
TEST_CASE("load and bends change a fault's loudness as the trade says") {
  const auto level = [](const char* part, Load load, Turn turn) {
    SoundSettings settings = with_fault(part, Fault::outer_race, 1.0);
    settings.run.load = load;
    settings.run.turn = turn;
    return made(settings).truth.level->value();
  };
  CHECK(level("pinion_head", Load::drive, Turn::straight) == Approx(10.0));
  CHECK(level("pinion_head", Load::coast, Turn::straight) < 8.0);
  CHECK(level("wheel_right", Load::coast, Turn::left) == Approx(10.0));
  CHECK(level("wheel_right", Load::coast, Turn::straight) < 8.5);
  CHECK(level("wheel_right", Load::coast, Turn::right) < level("wheel_right", Load::coast, Turn::straight));
  CHECK(level("hub_left", Load::coast, Turn::right) == Approx(10.0));
}

TEST_CASE("in a left bend the right wheel turns faster") {
  SoundSettings settings = with_fault("wheel_right", Fault::outer_race);
  const double straight = events_per_wheel_turn(made(settings));
  settings.run.turn = Turn::left;
  CHECK(events_per_wheel_turn(made(settings)) > 1.002 * straight);
}

TEST_CASE("worn teeth raise the mesh's harmonics and their sidebands at the pinion's turn") {
  const Sound worn = made(with_fault("ring_and_pinion", Fault::worn_teeth));
  CHECK(stands_out_db(worn.fault_share, worn, 41.0) > 20.0);
  const double side = power_at_order(worn.fault_share, worn, 41.0 + final_drive);
  CHECK(10.0 * std::log10(side / power_at_order(worn.fault_share, worn, 41.0)) > -20.0);
  CHECK(stands_out_db(worn.fault_share, worn, 82.0) > 20.0);
}

TEST_CASE("shaft, joint and tyre faults keep to their orders") {
  const Sound balance = made(with_fault("propshaft", Fault::out_of_balance));
  CHECK(stands_out_db(balance.fault_share, balance, final_drive) > 20.0);
  const Sound joint = made(with_fault("rear_joint", Fault::worn_joint));
  CHECK(stands_out_db(joint.fault_share, joint, 2.0 * final_drive) > 20.0);
  const Sound dry = made(with_fault("rear_joint", Fault::dry_joint));
  CHECK(events_per_wheel_turn(dry) == Approx(2.0 * final_drive).epsilon(0.001));
  const Sound tyre = made(with_fault("tyre_rl", Fault::uneven_wear));
  const double lumps = events_per_wheel_turn(tyre);
  CHECK(lumps == Approx(std::round(lumps)).epsilon(0.005));
  const Sound machine = made(with_fault("generator", Fault::worn_machine));
  const double creep = 1.0 - events_per_wheel_turn(machine) * machine.truth.mean_wheel.value() /
                                 (1.9 * machine.truth.mean_engine.value());
  CHECK(creep >= -0.001);
  CHECK(creep <= 0.021);
}

TEST_CASE("a coast-down slows, a sweep ends at its end speed, a driver wanders by as much as asked") {
  const Car car = small_car();
  SoundSettings settings = steady_run(20.0);
  const auto speed = [&](std::size_t step) {
    const Motion motion = synth::drive(car, settings);
    const double turns = (motion.wheel[step + 1] - motion.wheel[step]) / motion.step_s;
    return turns * synth::true_circumference(car, settings.car_seed).value();
  };
  settings.run.course = Course::sweep;
  settings.run.end_speed = Speed(25.0);
  CHECK(speed(0) == Approx(20.0).epsilon(0.001));
  CHECK(speed(19998) == Approx(25.0).epsilon(0.001));
  settings.run.course = Course::coast_down;
  CHECK(speed(19998) < 15.0);
  settings.run.course = Course::steady;
  settings.run.wander = 0.01;
  double mean = 0.0, power = 0.0;
  constexpr int runs = 60;
  for (settings.run_seed = 1; settings.run_seed <= runs; ++settings.run_seed) {
    const double error = speed(10000) / 20.0 - 1.0;
    mean += error / runs;
    power += error * error / runs;
  }
  CHECK(mean == Approx(0.0).margin(4.0 * 0.01 / std::sqrt(runs)));
  CHECK(std::sqrt(power) == Approx(0.01).epsilon(0.35));  // 4 standard errors of a standard deviation
}

TEST_CASE("a motion found elsewhere replaces the planned one") {
  SoundSettings settings = with_fault("pinion_head", Fault::outer_race);
  Motion motion;
  for (int i = 0; i <= 3000; ++i) motion.wheel.push_back(0.008 * i);
  motion.engine.assign(3001, 0.0);
  motion.bend.assign(3001, 0.0);
  settings.run.motion = motion;
  const Sound sound = made(settings);
  CHECK(sound.samples.size() == 144000);
  CHECK(sound.truth.mean_wheel.value() == Approx(8.0));
  CHECK(events_per_wheel_turn(sound) == Approx(3.58478 * final_drive).epsilon(0.001));
}

TEST_CASE("a motion on another grid is refused, or it would be played at another speed") {
  SoundSettings settings;
  settings.run.motion =
      Motion{0.05, std::vector<double>(101), std::vector<double>(101), std::vector<double>(101)};
  const auto sound = synthesise(small_car(), settings);
  REQUIRE_FALSE(sound);
  CHECK(sound.error().sentence.find("every 50 ms") != std::string::npos);
}

TEST_CASE("the phone holds its level, cuts the lows and never passes full scale") {
  SoundSettings settings = steady_run();
  const Sound plain = made(settings);
  CHECK(20.0 * std::log10(synth::rms(plain.samples)) == Approx(-24.0).margin(0.1));
  settings.phone.level = Decibels::already(-3.0);
  const Sound loud = made(settings);
  CHECK(std::abs(*std::ranges::max_element(loud.samples, {}, [](float x) { return std::abs(x); })) <= 1.0f);
  settings = steady_run();
  settings.phone.low_cut = Hertz(200.0);
  const auto cut = synth::third_octaves(made(settings).samples), whole = synth::third_octaves(plain.samples);
  CHECK(cut[4] / cut[17] < 0.5 * whole[4] / whole[17]);  // 50 Hz against 1 kHz
}

TEST_CASE("automatic gain flattens the level, noise suppression turns down what is steady") {
  SoundSettings settings = steady_run(10.0);
  settings.run.course = Course::sweep;
  settings.run.speed = Speed(8.0);
  settings.run.end_speed = Speed(30.0);
  const auto rise = [](const Sound& sound) {
    const std::span<const float> all(sound.samples);
    return synth::rms(all.last(96000)) / synth::rms(all.subspan(48000, 96000));
  };
  const double fixed = rise(made(settings));
  settings.phone.gain = GainControl::automatic;
  CHECK(rise(made(settings)) < 0.7 * fixed);

  settings = steady_run(6.0);
  settings.surroundings.gears = Decibels::already(25.0);
  const Sound open = made(settings);
  settings.phone.suppression = NoiseSuppression::on;
  const Sound suppressed = made(settings);
  // A steady mesh tone against all the rest.
  CHECK(power_at_order(suppressed.samples, suppressed, 41.0) <
        0.8 * power_at_order(open.samples, open, 41.0));
}

TEST_CASE("what can't be made is said in a sentence") {
  SoundSettings settings = steady_run(1.0);
  settings.run.gear = Gear{"7"};
  CHECK_FALSE(synthesise(small_car(), settings));
  settings = with_fault("gizmo", Fault::outer_race);
  CHECK(synthesise(small_car(), settings).error().sentence.find("gizmo") != std::string::npos);
  settings = with_fault("ring_and_pinion", Fault::outer_race);
  CHECK_FALSE(synthesise(small_car(), settings));
  for (double seconds : {0.0, -1.0, 1e9, std::nan("")})
    CHECK_FALSE(synthesise(small_car(), steady_run(seconds)));
}

TEST_CASE("a sound is written as a 16 bit mono WAV file, and a folder that is not there is named") {
  const Sound sound = made(steady_run(0.5));
  const auto path = std::filesystem::temp_directory_path() / "gearhark_synthesis_test.wav";
  REQUIRE_FALSE(write_wav(path.string(), sound));
  CHECK(std::filesystem::file_size(path) == 44 + 2 * sound.samples.size());
  std::filesystem::remove(path);
  CHECK(write_wav("/no/such/folder/a.wav", sound)->sentence.find("/no/such/folder/a.wav") == 0);
}
