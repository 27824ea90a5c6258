// The speed of a run that is too long to be held, from its pieces.
#pragma once

#include <span>
#include <vector>

#include "gearhark/speed/tracking.hpp"

namespace gearhark {

// What was stated of a part of a run, its times counted from the part's start. Of many points those about it.
StatedSpeed stated_within(const StatedSpeed& stated, Seconds from, Seconds length);

struct Excerpt {
  std::span<const float> samples;
  double sample_rate = 0.0;
  Seconds from;  // of the run
};
// How far into a log with its own clock a run of this length starts, from what some excerpts of it sound
// like; 0 where the speed has no clock of its own.
Seconds start_in_log(const Car& car, const Run& run, Seconds length, std::span<const Excerpt> excerpts);

struct TrackedPiece {
  Seconds from, length;
  Tracking tracking;
};

// What most of the sound fits whose speed was found: the gear, and whether the engine turns apart from it.
// None was found: the gear stated.
struct CommonDrive {
  Gear gear;
  bool engine_apart = false;
};
CommonDrive common_drive(std::span<const TrackedPiece> pieces, const Gear& stated);
// Whether a piece's angle may be relied on: found, and driven as most are.
bool relied_on(const TrackedPiece& piece, const CommonDrive& common);
// The scale that the surely found pieces of those agree on; nothing: there are none.
std::optional<double> common_scale(std::span<const TrackedPiece> pieces, const CommonDrive& common);

// All pieces as one: sure where at least half of the sound relied on is. Angles over the whole run, a second
// apart; lines and remarks are those of `shown`, with a remark on what was left out.
Tracking joined(std::span<const TrackedPiece> pieces, std::size_t shown, const Gear& stated);

// The piece to be shown for all: the surest, the one with the most lines used.
std::size_t clearest(std::span<const TrackedPiece> pieces, const CommonDrive& common);

}  // namespace gearhark
