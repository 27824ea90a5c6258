// Everything heard for and against each fault of each part, and for a noise of no part in the car file, over
// all runs of a road test.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gearhark/evidence/event_comb.hpp"
#include "gearhark/evidence/heard_run.hpp"
#include "gearhark/evidence/tone_evidence.hpp"
#include "gearhark/evidence/tyre_evidence.hpp"

namespace gearhark {

// How a fault shows: repeated impacts in the envelope, or tones in the sound itself.
enum class EvidenceKind { events, mesh_sidebands, tyre_orders, joint_orders };
EvidenceKind kind_of(Fault fault);
Events events_of(Fault fault);  // of the faults that show as events

// One line looked for in one run.
struct SeenLine {
  std::size_t run = 0;
  double harmonic = 1.0;
  int side = 0;
  Order order;  // of the run's reference shaft
  bool engine_bound = false;
  Hertz frequency;  // at the run's mean rate
  Decibels above_background;
  double chance = 1.0;  // that noise alone does this at a place chosen beforehand
};

struct Candidate {
  std::string part;  // empty: no part of the car file
  Fault fault = Fault::outer_race;
  EvidenceKind kind = EvidenceKind::events;
  Knowledge knowledge = Knowledge::exact;
  bool healthy = false;  // no fault: takes part only to explain lines that others would claim
  bool turned = false;   // in at least one run
  // events: log Bayes factor without `against`, nats, tempered, less what better rivals explain
  double log_factor = 0.0;
  double alone = 0.0;    // the same before rivals were heard
  double behind = 0.0;   // events: what of `log_factor` went because a rival explains the same lines better
  double against = 0.0;  // events: what runs that should have shown a loud fault say, nats, 0 or less
  double level = 0.0;    // tones: dB of sidebands or of the line; tyres: nats
  double slip = 0.0;
  Hertz band_low, band_high;        // where events were loudest
  std::size_t group = 0;            // index of that band group
  double strength = 0.0;            // octaves of line power over one background bin
  std::vector<double> fundamental;  // per run: order on the run's reference; 0 where it does not turn
  std::vector<double> modulation;   // per run: order of the side lines' spacing; 0: none
  std::vector<double> visibility;   // per run
  std::vector<SeenLine> lines;
  [[nodiscard]] bool unlisted() const { return part.empty(); }
};

std::vector<Candidate> gather(const Car& car, const std::vector<HeardRun>& runs);

// The faults of one part alone, or one of them, no rival heard: what gather() says of them before anything is
// explained away.
std::vector<Candidate> gather_part(const Car& car, const std::string& part, const std::vector<HeardRun>& runs,
                                   std::optional<Fault> fault);

// The one of no part in the car file; nullptr: there is none.
const Candidate* unlisted_of(const std::vector<Candidate>& candidates);

// The family that a candidate is in run number r, and its place there: of a pair's two gears, the one that
// was heard. Nothing: it does not turn there.
struct Followed {
  const Family* family = nullptr;
  Place place;
};
std::optional<Followed> followed_in(const Candidate& candidate, const HeardRun& run, std::size_t r);

// The envelope spectra that a fault's events are looked for in.
const EnvelopeSpectra& spectra_for(const OnShaft& spectra, Fault fault);

// Fills in the lines of a candidate: costs as much as the gathering, so only for those that will be shown.
void show_lines(Candidate& candidate, const std::vector<HeardRun>& runs);

}  // namespace gearhark
