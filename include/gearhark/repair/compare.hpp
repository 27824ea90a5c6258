// Before and after a repair: is the noise gone?
//
//   both road tests -> shaft angles found together -> runs paired by gear, load, turn and speed
//     -> per part: level of its lines, stretch by stretch, in the pairs -> change in dB with an interval
//     -> verdict per part -> verdict on what was heard before
//
// Phone gain and position differ between days. The common reference is the noise of road, wind and engine
// that every recording holds: the change of its floor in third-octave bands, middle one of all of them. How
// far the bands differ among each other says how sure it is, and is part of every interval.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gearhark/car/lines.hpp"
#include "gearhark/diagnosis/diagnosis.hpp"

namespace gearhark {

enum class Change { gone, reduced, unchanged, worse, not_comparable };
std::string to_text(Change change);  // "gone", "reduced", "unchanged", "worse", "not comparable"

struct PartChange {
  std::string part, name;
  // Part IDs; by all runs before, or by those that have a partner.
  std::vector<std::string> cannot_be_told_from;
  Fault fault = Fault::outer_race;  // the fault whose lines were followed
  Probability before, after;        // what the runs of either day say of these parts by themselves
  // How far its lines stand out of the background over the same pattern of lines put where nothing is, in
  // standard deviations of the latter. A comb of events counts as one pattern; of tones (a mesh's sidebands,
  // a tyre's orders) each is one and the middle one counts, because any may fall on a sound part's.
  double heard_before = 0.0, heard_after = 0.0;
  // Level after over before, of the fault's power against the common reference; 90 % interval. Where nothing
  // is heard after (or before), a limit: as loud as could just have been heard.
  double change_db = 0.0, low_db = 0.0, high_db = 0.0;
  std::size_t pairs = 0;  // of runs that it rests on
  Change verdict = Change::not_comparable;
  std::string reason;
};

struct RunPair {
  std::size_t before = 0, after = 0;  // indices of the runs handed in
  double speed_ratio = 1.0;           // after over before, as found in the sound
  double gain_db = 0.0;               // the common reference: after over before
  double gain_sd_db = 0.0;            // how sure
};

struct Comparison {
  std::string car_name;
  Change verdict = Change::not_comparable;
  std::string part;  // that the verdict is about; "": nothing was heard before
  std::string reason;
  std::vector<PartChange> parts;      // what was heard before first, then by how much was heard
  std::vector<std::string> appeared;  // part IDs heard after and not before
  std::vector<RunPair> pairs;
  std::vector<Run> before, after;    // the runs handed in
  std::vector<std::string> remarks;  // runs that found no partner and why, one sentence each
  std::vector<std::string> cautions;
};

struct CompareSettings {
  double speed_within = 0.12;  // relative difference of mean speeds up to which two runs are a pair
  int resamples = 400;
  double interval = 0.90;
};

// Interval by resampling pairs of neighbouring stretches of each run with replacement: moving block
// bootstrap, Kuensch, Annals of Statistics 17, 1989.
Comparison compare(const Car& car, const std::vector<RunSound>& before, const std::vector<RunSound>& after,
                   const CompareSettings& settings = {});

}  // namespace gearhark
