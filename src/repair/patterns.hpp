// Which lines of a fault are followed from before a repair to after it.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "gearhark/evidence/candidates.hpp"
#include "stretches.hpp"

namespace gearhark::repair {

// Lines of which one sum is made.
struct Pattern {
  std::vector<double> orders;  // of the wheel, or of the engine where it runs free; empty: can't be followed
  bool shows = true;           // any of them stands out by itself
  // A lower and an upper sideband, of which only the weaker counts, as a neighbour raises one.
  bool one_of_two = false;
  bool engine_bound = false;
  std::optional<Band> band;  // events: carrier band
  double spacing = 0.0;      // tones: of neighbouring lines, orders; between them nothing should be
};

// Of run number r. A comb of events is one pattern. Of tones (sidebands, a tyre's orders) each is one, the
// same list in every run: any may fall on a sound part's, and the loudest would outshout the others.
std::vector<Pattern> patterns_of(const Car& car, const Candidate& candidate, const HeardRun& run,
                                 std::size_t r);

}  // namespace gearhark::repair
