// From evidence per fault to probabilities that add up to one, "no fault" and "something the car file does
// not hold" among them.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "gearhark/car/car.hpp"
#include "gearhark/evidence/candidates.hpp"
#include "gearhark/units/quantity.hpp"

namespace gearhark {

// Faults whose evidence is believed alike: one row of weights each.
enum class EvidenceClass {
  bearing,
  wheel_or_carrier_bearing,
  machine,
  cage,
  chipped_tooth,  // of a final drive
  dry_joint,
  worn_teeth,
  tyre,
  worn_joint,
  unlisted,
  chipped_gear_pair  // one of a gearbox's several, which share one chance
};
EvidenceClass evidence_class(const Candidate& candidate, const Car& car);

// How much was heard of it above what healthy cars show, less what runs say against it: nats of events, dB of
// tones, tenths of a tyre's excess.
double heard(const Candidate& candidate);

// What must be heard of it so that, no rival being heard, it is the likeliest by far.
double enough_heard(const Candidate& candidate, const Car& car);

struct RankedPart {
  std::string part;
  std::vector<std::string>
      cannot_be_told_from;  // share every line and every visibility with it in these runs
  std::size_t best = 0;     // index of the strongest candidate of this part
  double logit = 0.0;       // against "no fault", before normalising
  double evidence = 0.0;    // the logit less what the part would have with nothing heard
  Probability probability;
};

struct Ranking {
  std::vector<RankedPart> parts;  // most probable first
  Probability no_fault, unexplained;
};

// What teardowns say of how often each fault is met, against how often it was in the cases that the weights
// were fitted to. Added to the logits; faults left out: 0.
struct Experience {
  std::map<Fault, double> of_fault;
  double of_none = 0.0;
  int findings = 0;  // it rests on
};
// found: how often each fault was found, and nothing wrong. Shares are drawn towards those of the fit as if
// 60 more cases had shown these (a Dirichlet prior).
Experience experience_from(const std::map<Fault, int>& found, int nothing_wrong);

Ranking rank(const Car& car, const std::vector<Candidate>& candidates, const Experience& experience = {});

}  // namespace gearhark
