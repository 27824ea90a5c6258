// What a report page shows of a diagnosis besides its numbers: pictures as values, thinned for drawing.
//
//   what was heard + its diagnosis -> spectra with lines marked, levels over the runs, speeds, an order map
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gearhark/car/orders.hpp"
#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/diagnosis/hearing.hpp"

namespace gearhark {

// A place on an axis of orders.
struct Mark {
  std::string words;
  Order order;
  Hertz frequency;     // at the run's mean rate
  bool found = false;  // stands out; of what a sound car makes: not judged
};

// Decibels over the background on equal steps of order. Each value is the strongest bin of its step, so that
// no line is lost; noise looks stronger by that.
struct DrawnSpectrum {
  double first = 0.0, step = 0.0;  // orders of the run's reference shaft, of the steps' middles
  std::vector<float> db;
  std::vector<Mark> marks;    // looked for, of the suspect
  std::vector<Mark> healthy;  // what a sound car makes here
};

// Sound over shaft angle, cut into stretches: rows in time, columns in order. dB over each row's background.
struct OrderMap {
  std::size_t rows = 0, columns = 0;
  Seconds duration;  // of all rows
  double to = 0.0;   // orders, from 0
  bool of_envelope = false;
  std::vector<float> db;  // row by row
  std::vector<Mark> marks;
};

// How a suspect shows in one run.
struct RunLevel {
  int recording = 0;                  // index into Diagnosis::runs
  std::optional<Decibels> strongest;  // of its lines over the background; nothing: none could be looked at
  std::size_t looked_for = 0, found = 0;
  double expected = 0.0;  // loudness by trade practice, of its loudest state
};

struct SuspectExhibit {
  std::string part;
  Fault fault = Fault::outer_race;
  int recording = 0;  // in which it is heard best; all but the levels are of it
  bool engine_bound = false;
  ShaftRate mean_rate;                    // of the reference shaft
  Hertz band_low, band_high;              // of the envelope
  std::optional<DrawnSpectrum> envelope;  // of faults that show as impacts
  DrawnSpectrum tones;
  std::vector<RunLevel> levels;
  std::optional<OrderMap> map;  // of the first suspect alone
};

// The speed over a run. Told: nothing where no speed over time was told.
struct SpeedCurve {
  int recording = 0;
  Seconds step;
  std::vector<double> found_mps;  // for the nominal tyre
  std::vector<double> told_mps;   // as many, or none
};

struct Exhibits {
  std::vector<SuspectExhibit> suspects;  // the first of the ranking, in its order
  std::vector<SpeedCurve> speeds;        // of the runs whose speed was found
  std::vector<OrderTable> tables;        // what each part should sound like, once per gear and clutch
};

// `hearing` as diagnosis_of() left it: the first suspects' lines filled in.
Exhibits exhibits(const Car& car, const std::vector<RunSound>& sounds, const Hearing& hearing,
                  const Diagnosis& diagnosis);

// Of one fault of one part, likely or not. Fills in its lines in `hearing`.
Exhibits exhibits_of_part(const Car& car, const std::vector<RunSound>& sounds, Hearing& hearing,
                          const std::string& part, Fault fault);

}  // namespace gearhark
