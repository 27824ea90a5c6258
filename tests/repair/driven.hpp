// A run of a synthesised car with a bad pinion head bearing.
#pragma once

#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/synthesis/synthesis.hpp"

namespace gearhark::test {

// Third gear, 62 km/h by the road and 65 by the needle. `bearing`: the part at fault.
inline RunSound driven(const Car& car, const char* bearing, double seconds) {
  SoundSettings settings;
  settings.run.speed = settings.run.end_speed = Speed(62.0 / 3.6);
  settings.run.duration = Seconds(seconds);
  settings.fault = SoundFault{};
  settings.fault->part = bearing;
  settings.fault->level = Decibels::already(10.0);
  const Sound sound = *synthesise(car, settings);
  RunSound run;
  run.run.gear = Gear{"3"};
  run.run.speed.points = {{Seconds(0), Speed(65.0 / 3.6)}};
  run.recording.sample_rate = sound.sample_rate;
  run.recording.samples = sound.samples;
  return run;
}

}  // namespace gearhark::test
