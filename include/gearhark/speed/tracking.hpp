// The shaft angle over time, found from the sound with the stated speed as a prior.
#pragma once

#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "gearhark/car/lines.hpp"
#include "gearhark/speed/angle_search.hpp"
#include "gearhark/speed/angle_track.hpp"
#include "gearhark/units/quantity.hpp"
#include "gearhark/units/result.hpp"

namespace gearhark {

// How the user knows the speed. range: only that it lay between two speeds; engine: from the rev counter.
enum class SpeedSource { needle, satellite, exact_shaft, range, engine };

struct SpeedPoint {
  Seconds time;  // from the start of the recording
  Speed speed;
};

// What was said about the speed: points joined by straight lines (one point: constant). For exact_shaft (a
// bench spin) `shaft_rate` replaces the points, for engine `engine_rate`, which in gear gives the wheels'.
// For range there are two, the slowest and the fastest.
struct StatedSpeed {
  SpeedSource source = SpeedSource::needle;
  std::vector<SpeedPoint> points;
  std::optional<ShaftRate> shaft_rate;
  std::optional<ShaftRate> engine_rate;
  // The points' zero need not be the recording's: it may have started at any time within them.
  bool own_clock = false;
  SpeedUnit unit = SpeedUnit::kmh;  // as the user wrote it
};

// One run of a road test as the mechanic noted it.
struct Run {
  std::string file;
  Gear gear;
  Clutch clutch = Clutch::engaged;
  Load load = Load::drive;
  Turn turn = Turn::straight;
  StatedSpeed speed;
  std::optional<Seconds> from, to;
  // Where the sound is read from if that is not `file`: the copy of a bundle's sound, which is gone with the
  // last who holds this.
  std::shared_ptr<const std::string> copy;
  [[nodiscard]] const std::string& sound() const { return copy ? *copy : file; }
};

struct Tracking {
  AngleTrack wheel;                  // mean driven wheel
  std::optional<AngleTrack> engine;  // neutral or clutch down: on its own; in gear: nothing (use the ratio)
  double wheel_rate_sd = 0.0;        // turns/s, of the mean rate
  double scale = 1.0;                // found over stated speed, of a changing one at both ends; of a range 1
  double scale_sd = 0.0;
  Certainty certainty = Certainty::lost;
  Gear gear;                         // that the lines fit: the stated one, unless a remark says otherwise
  std::vector<Line> lines_used;      // that could be followed
  std::vector<std::string> remarks;  // contradictions and doubts, one sentence each
};

// samples: mono at sample_rate Hz. Never fails: what can't be found is lost and says why in the remarks.
Tracking track(std::span<const float> samples, double sample_rate, const Car& car, const Run& run);

// Where the scale is known from other sound of the same car and stated speed: sought close to it alone.
Tracking track_near(double scale, std::span<const float> samples, double sample_rate, const Car& car,
                    const Run& run);

// Speeds found over stated that need no other explanation than a needle that reads high, or a satellite's
// lag.
bool usual_scale(SpeedSource source, double scale);

struct RunInput {
  Run run;
  std::span<const float> samples;
  double sample_rate = 0.0;
};

// The runs of one road test with one car: one speedometer and one set of tyres. What the sure runs in gear
// say of those helps the runs in neutral and the lost ones. In the order given.
std::vector<Tracking> track_all(const Car& car, std::span<const RunInput> runs);

}  // namespace gearhark
