// Finds a shaft's angle over time in a sound, given orders that should be audible and a rough idea of the
// rate. Pure: knows no car. The idea that many orders vote is that of Leclère, André and Antoni, MSSP 81
// (2016).
//
//   sound -> decimated -> flattened -> ratios -> votes -> path -> flattened again ... -> phases -> angle
#pragma once

#include <cstddef>
#include <memory>
#include <span>
#include <vector>

#include "gearhark/speed/angle_track.hpp"

namespace gearhark {

// What makes a line. Tread repeats every wheel turn, so a tread line may sit at any whole order of its own
// tyre; learnt: heard at exactly this order in other runs of the car; machine: driven by a belt that slips,
// so that it helps to find the path but not to place it exactly; knock: of a gear or tyre once a turn, with
// so many overtones that one lies near any other line, so that it only helps to find the path, too.
enum class LineSource { engine, gear, tread, learnt, machine, knock };

// A line that may be audible.
struct TrackingLine {
  double order = 1.0;    // cycles per turn of the shaft sought
  double visible = 0.5;  // prior probability of standing above the background at a given moment
  LineSource source = LineSource::gear;
  std::size_t origin = 0;  // the caller's own index
};

enum class Steadiness { steady, changing };

// free_walk: the rate may wander from moment to moment about the stated one. smooth_curve: a coast-down
// without engine, where few lines are heard: stated rate x (1 + a + b (u - 1/2) + 4 c u (1 - u)), u from 0 to
// 1 over the recording, is searched first as a whole.
enum class PathShape { free_walk, smooth_curve };
struct CurvePrior {
  double slope_sd = 0.01;                // of b
  double bow_mean = 0.0, bow_sd = 0.03;  // of c
};

// The rate as it was stated, and how far it can be off: true rate = nominal x (1 + s).
struct RatePrior {
  AngleTrack nominal;
  double mean = 0.0, sd = 0.02;       // of s
  double low = -0.055, high = 0.055;  // s is nowhere else
  Steadiness steadiness = Steadiness::steady;
  bool told_at_ends = false;  // of a changing speed: what lies between is a guess
  PathShape shape = PathShape::free_walk;
  CurvePrior curve;
  double window_s = 0.5;       // of the spectra; longer for slow shafts, whose lines lie close together
  double lowest_hz = 55.0;     // lines below are not used
  double highest_hz = 3600.0;  // lines above are not used; what is known to be of no use saves time
  double apart = 0.007;        // a path this far away is another one; wider where only low lines are heard
};

enum class Certainty { sure, doubtful, lost };

namespace tracking {
struct Sound;
struct Heard;
}  // namespace tracking

struct FoundLine {
  TrackingLine line;
  double visible = 0.0;   // learned: share of the time above the background
  bool followed = false;  // its phase was used
};

struct FoundAngle {
  AngleTrack track;
  double relative_sd = 0.03;  // of the mean rate
  Certainty certainty = Certainty::lost;
  double evidence_per_s = 0.0;  // log evidence of the lines against plain noise, nats/s
  double rival_per_s = 0.0;     // the found path against every path that stays away from it, nats/s
  double scale_margin = 0.0;    // smooth_curve: the found scale against the best one elsewhere, nats
  double gear_margin = 0.0;     // votes of the gear lines alone on the path less those beside it, nats/s
  double road_margin = 0.0;     // the same of those gear lines that lie on no engine order, nats/s
  double lead_per_s = 0.0;      // votes of all lines, as given, on the path less the mean beside it, nats/s
  std::vector<FoundLine> lines;
  std::shared_ptr<const tracking::Heard>
      heard;  // the sound along the track; nothing where a search was given up
};

// One recording under one stated speed; several sets of lines (the car in another gear, say) can be tried on
// it. Not for several threads at once.
class AngleSearch {
 public:
  // samples: mono at sample_rate Hz; they are not kept. Lines above 3.6 kHz are not used.
  AngleSearch(std::span<const float> samples, double sample_rate, const RatePrior& prior);
  // Of a sound that is decimated already.
  AngleSearch(const tracking::Sound& decimated, const RatePrior& prior);
  // The same, with a prior whose nominal rate is everywhere the same multiple of the rate found there.
  AngleSearch(const tracking::Sound& decimated, const RatePrior& prior, const FoundAngle& in_step);
  ~AngleSearch();
  AngleSearch(AngleSearch&&) noexcept;
  AngleSearch& operator=(AngleSearch&&) noexcept;
  // Fewer than 8 frames of half a second: nothing can be said, and find() returns the nominal angle as lost.
  [[nodiscard]] bool long_enough() const;
  // Log evidence of these lines against plain noise, nats/s, all paths within the prior together.
  [[nodiscard]] double evidence_per_s(std::span<const TrackingLine> lines) const;
  // Votes of these lines alone at the rate where they are most, nats/s: any within the prior whose orders may
  // be off by low to high besides.
  [[nodiscard]] double most_votes_per_s(std::span<const TrackingLine> lines, double low, double high) const;
  // stop: once it is known to be lost, for those who have no use for what is found then.
  enum class IfLost { go_on, stop };
  [[nodiscard]] FoundAngle find(std::span<const TrackingLine> lines, IfLost if_lost = IfLost::go_on) const;
  // Of some of the lines that `found` was found with: where they lead along its track, that is the angle.
  [[nodiscard]] FoundAngle find_with_fewer(std::span<const TrackingLine> lines, const FoundAngle& found,
                                           IfLost if_lost) const;
  // From now on without what is steady in step with another shaft (the engine at idle, for the road side).
  void remove_steady_orders(const AngleTrack& other);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace gearhark
