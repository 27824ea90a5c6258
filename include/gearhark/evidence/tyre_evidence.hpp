// Evidence for an unevenly worn tyre, which sounds at many neighbouring whole multiples of its own turns.
//
// No two tyres roll alike: wear, pressure, load and the slip of the driven ones set a wheel's turns some
// tenths of a per cent off the mean of the driven wheels, which the orders are counted by, and those of one
// tyre by the same share in every run on a straight road. That share is searched, and paid for.
#pragma once

#include <span>
#include <vector>

#include "gearhark/evidence/order_spectrum.hpp"

namespace gearhark {

// What is looked at in one run.
struct TyreRun {
  const OrderSpectrum* tones = nullptr;  // by wheel turns
  std::vector<double> known;             // orders of other things that sound there; left out
};

struct TyreEvidence {
  double log_factor = 0.0;  // nats, all runs together; about 0 or less for a sound tyre
  double slip = 0.0;        // its turns over the mean wheel's, less 1
  double centre = 0.0;      // multiple in the middle of where it is loudest; 0: nothing could be looked at
};
TyreEvidence tyre_evidence(std::span<const TyreRun> runs);

}  // namespace gearhark
