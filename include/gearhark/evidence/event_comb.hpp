// Evidence for repeated impacts at a family's rate: the log Bayes factor of a comb of lines against the
// background, for every carrier band, slip and strength, so that runs can be added before anything is
// marginalised.
//
// A bin of the background is exponential with mean 1; the mean of B bins over k independent bands is close to
// a gamma with kB degrees of freedom. A line of strength A raises that mean to 1 + x, and its log likelihood
// ratio is k B (m x/(1+x) - log(1+x)).
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "gearhark/car/lines.hpp"
#include "gearhark/evidence/envelope_spectra.hpp"

namespace gearhark {

// log factor [group][slip][strength]
struct EventEvidence {
  std::size_t groups = 0, slips = 0, strengths = 0;
  std::vector<float> log_factor;
  std::vector<double> slip;   // relative offset of the fundamental; shared by all runs of one family
  std::vector<float> usual;   // how_usual() of each
  std::size_t elsewhere = 0;  // slips that were not looked at, for all of which the last one stands
  bool heard_at_all = false;  // false: nothing of the family could be looked at in this run
  double visibility = 1.0, turns = 0.0;
  [[nodiscard]] float& at(std::size_t g, std::size_t s, std::size_t a) {
    return log_factor[(g * slips + s) * strengths + a];
  }
  [[nodiscard]] float at(std::size_t g, std::size_t s, std::size_t a) const {
    return log_factor[(g * slips + s) * strengths + a];
  }
};

// Line power over one bin's background: 2^-2 .. 2^10.25, in steps of so many octaves.
inline constexpr int strength_steps = 8;
inline constexpr double strength_step_octaves = 1.75;

// Orders [low, high] that another fault explains: lines of a comb that fall into one are not counted.
struct ExplainedOrders {
  double low = 0.0, high = 0.0;
};

// What is looked at of a comb: everything, or what is left of it where others explain lines and the slip is
// known.
struct CombLimits {
  std::span<const ExplainedOrders> explained;
  std::optional<double> slip;  // only this one and its neighbours on the grid; the others count as not seen
};

// fundamental, modulation: orders of the spectra's reference shaft.
EventEvidence event_evidence(const EnvelopeSpectra& spectra, const Family& family, double fundamental,
                             double modulation, const CombLimits& limits = {});

// The orders that this family explains when its fundamental is `fundamental` x (1 + slip): harmonics well
// past those that are searched, with side lines, as wide as slip smears them.
std::vector<ExplainedOrders> explained_by(const Family& family, double fundamental, double modulation,
                                          double slip);

struct CombinedEvents {
  double log_bayes_factor = 0.0;  // nats, marginalised over band, slip and strength
  double best_slip = 0.0;
  std::size_t best_group = 0;
  double best_strength = 0.0;  // log2
};

// Adds the runs of one family. Strength scales with visibility squared and with the number of turns.
CombinedEvents combine(const std::vector<EventEvidence>& runs);

// One line of a comb as it stands in one run's spectrum, at the width where it is clearest.
struct CombSeen {
  double harmonic = 1.0;
  int side = 0;               // times the modulation
  double order = 0.0;         // of the reference shaft
  Decibels above_background;  // mean of the line's bins
  double chance =
      1.0;  // that noise alone is this strong at a place chosen beforehand (three widths allowed for)
};
std::vector<CombSeen> comb_seen(const EnvelopeSpectra& spectra, const Family& family, double fundamental,
                                double modulation, double slip, std::size_t group);

// The main lines of a comb (side lines left out) and how often each is visible when the fault is.
struct MainLine {
  double harmonic = 1.0, presence = 1.0;
};
std::vector<MainLine> main_lines(const Family& family);

// The slips (relative offsets of the fundamental) that are tried for a family.
std::vector<double> slip_grid(const Family& family);

// Of each of these, how usual it is before anything is heard: log of its chance over the mean of all. 0
// throughout where sizes are not known, as it is they that rule then.
std::vector<float> how_usual(const Family& family, const std::vector<double>& slips);

}  // namespace gearhark
