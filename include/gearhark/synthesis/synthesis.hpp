// What a car sounds like in a run, with a fault or without: the physics written forward, knowing nothing of
// the detector.
//
//   run -> motion of every shaft -> engine, gears, tyres, road, wind, bumps -+-> cabin -> phone -> samples
//                                -> the fault's events or tones -------------+
//
// The same settings give the same samples on every machine with the same floating point: the generator is our
// own. Invented sound: levels and load behaviour follow trade practice (common practice, no published
// source), not measurement.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "gearhark/car/lines.hpp"

namespace gearhark {

// Shaft angles over time on a uniform grid of 1 ms, linear in between. All three have the same length.
struct Motion {
  double step_s = 0.001;       // synthesise() takes no other
  std::vector<double> wheel;   // turns of the mean driven wheel
  std::vector<double> engine;  // turns of the crankshaft where it is not tied to the road; else unused
  std::vector<double> bend;    // turns of half of (right - left) driven wheel
};

enum class Course { steady, sweep, coast_down };

// How the run is driven.
struct SoundRun {
  Gear gear{"3"};
  Clutch clutch = Clutch::engaged;
  Load load = Load::drive;
  Turn turn = Turn::straight;
  Course course = Course::steady;
  Speed speed{20.0};      // true speed over the road at the start, m/s
  Speed end_speed{20.0};  // sweep: reached at the end. coast_down: not used, the car slows by itself
  Seconds duration{22.0};
  double wander = 0.006;  // standard deviation of the driver's slow speed error, relative
  ShaftRate idle{14.0};   // of the engine where it is not tied to the road
  std::optional<Motion>
      motion;  // given: replaces course, speed, wander and idle, e.g. as found in a real recording
};

enum class Extent { point, extended };

struct SoundFault {
  std::string part;  // part ID of the car
  Fault fault = Fault::outer_race;
  // RMS of the fault over everything else in that run, in the third-octave band where it stands out most, in
  // the fault's loudest load and turn; quieter states are quieter.
  Decibels level = Decibels::already(6.0);
  std::optional<double> slip;     // mean slip of a bearing's cage, relative; nothing: drawn, 0.5 to 2 %
  double jitter = 0.01;           // standard deviation of one event's spacing, relative (accumulates)
  Extent extent = Extent::point;  // extended: a spalled area smears each event
};

// Levels relative to an ordinary old car on an ordinary road.
struct Surroundings {
  Decibels road, wind, engine, gears;
  double bumps_per_minute = 3.0;
  Decibels healthy_bearings =
      Decibels::already(-26.0);  // murmur of each sound bearing, on the fault level's scale
};

enum class GainControl { fixed, automatic };
enum class NoiseSuppression { off, on };

struct Phone {
  Hertz low_cut{110.0};                       // its microphone input's high-pass
  Decibels level = Decibels::already(-24.0);  // RMS re full scale where the gain is fixed
  GainControl gain = GainControl::fixed;
  NoiseSuppression suppression = NoiseSuppression::off;
};

struct SoundSettings {
  SoundRun run;
  std::optional<SoundFault> fault;
  Surroundings surroundings;
  Phone phone;
  std::uint64_t car_seed =
      1;  // the character of car, fault and phone: keep it over the runs of one road test
  std::uint64_t run_seed = 1;  // wander, noise, bumps: change it from run to run
};

// What was really done, for tests and Monte-Carlo.
struct SoundTruth {
  ShaftRate mean_wheel;          // mean driven wheel, turns per second
  ShaftRate mean_engine;         // 0: not determined
  Length rolling_circumference;  // the true one, drawn within the tyre's tolerance
  Motion motion;
  std::optional<double> slip;       // mean cage slip of the faulty bearing
  std::vector<double> event_times;  // s, of the fault's impacts; empty where it makes tones or is silent
  std::optional<Decibels> level;    // the fault's level in this run; nothing: silent in this state
};

struct Sound {
  double sample_rate = 48000.0;    // Hz
  std::vector<float> samples;      // mono, full scale +-1
  std::vector<float> fault_share;  // what the fault adds, before the phone's gain control and clipping
  SoundTruth truth;
};

// Errors: a gear or part the car lacks, a fault that part can't have, a duration outside 0.5 to 600 s, a
// motion on another grid. A part that stands still in this run is silent, not an error.
Result<Sound> synthesise(const Car& car, const SoundSettings& settings);

// The fault of `settings` alone, through cabin and microphone, at no particular level, 48 kHz. Errors: as
// synthesise(); settings without a fault; a part that stands still in this run.
Result<std::vector<float>> synthesise_fault(const Car& car, const SoundSettings& settings);

// Adds `fault` to `recording` (both 48 kHz; the shorter one sets the length), `level` above it in the
// third-octave band where it stands out most, of those below `bandwidth`: above it a codec left silence, in
// which anything stands out.
std::vector<float> with_fault(std::span<const float> recording, std::span<const float> fault, Decibels level,
                              Hertz bandwidth);

// Writes mono 16-bit WAV. Error: the file can't be written.
std::optional<Error> write_wav(const std::string& path, const Sound& sound);

}  // namespace gearhark
