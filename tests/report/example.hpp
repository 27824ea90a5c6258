// A diagnosis as it could be, made up, for tests of what is printed of it.
#pragma once

#include "gearhark/diagnosis/diagnosis.hpp"

namespace gearhark::example {

inline Suspect suspect(const std::string& part, const std::string& name, Fault fault, double probability) {
  Suspect s;
  s.part = part;
  s.name = name;
  s.fault = fault;
  s.probability = Probability(probability);
  s.log_evidence = 10.0 * probability - 1.0;
  s.in_words = "a steady growl";
  return s;
}

inline RunReport report(const std::string& file) {
  RunReport r;
  r.run.file = file;
  r.run.gear = {"3"};
  r.run.speed.points = {{Seconds(0), Speed(45 * 0.44704)}};
  r.run.speed.unit = SpeedUnit::mph;
  r.quality.usable = Seconds(21.8);
  r.quality.bandwidth = Hertz(15300);
  r.quality.wind_db = 3.4;
  r.mean_wheel = ShaftRate(10.75);
  r.mean_wheel_sd = ShaftRate(0.02);
  r.tracking.scale = 0.957;
  r.tracking.scale_sd = 0.0029;
  r.tracking.certainty = Certainty::sure;
  return r;
}

inline EvidenceItem item(const std::string& kind, double order, double hz, double db, double chance,
                         bool found) {
  return {0, kind, Order(order), false, Hertz(hz), Decibels::already(db), chance, found};
}

inline NextRun next_run() {
  return {{"4"}, Load::floating, Turn::left, Speed(40 * 0.44704), Seconds(30), 0.2, "Here it is loud."};
}

inline Diagnosis diagnosis() {
  Diagnosis d;
  d.car_name = "Invented car";
  d.verdict = Verdict::fault_heard;
  d.reason = "The pinion head bearing is the likeliest source (80 %): a steady growl.";
  d.suspects = {suspect("pinion_head_bearing", "pinion head bearing", Fault::outer_race, 0.80),
                suspect("carrier_bearing_left", "left carrier bearing", Fault::inner_race, 0.06),
                suspect("carrier_bearing_right", "", Fault::inner_race, 0.004)};
  d.suspects[0].evidence = {item("outer race, 1st harmonic", 25.25, 271.4, 9.2, 3e-5, true),
                            item("outer race, 2nd harmonic", 50.5, 542.8, -0.04, 0.3, false)};
  d.suspects[1].cannot_be_told_from = {"carrier_bearing_right", "pinion_head_bearing"};
  d.unexplained = Probability(0.086);
  d.no_fault = Probability(0.05);
  d.runs = {report("run1.m4a"), report("run2.m4a")};
  d.runs[1].problems = {"1.3 % of the samples are at full scale."};
  d.next_run = next_run();
  d.cautions = {"Never work under a car held only by a jack."};
  return d;
}

}  // namespace gearhark::example
