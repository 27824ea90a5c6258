// Spectra of the pieces of a long run, averaged: as sharp as those of one piece, and with as much less noise
// as there are more pieces. All are on the same turns (EnvelopeSettings::turns), so that bins agree.
//
// Each piece's bins are over its own background already, so a loud piece weighs no more than a quiet one. For
// lines of the same strength in every piece the log likelihood of the mean is the sum of the pieces'.
#pragma once

#include <span>
#include <utility>
#include <vector>

#include "gearhark/evidence/envelope_spectra.hpp"
#include "gearhark/evidence/order_spectrum.hpp"

namespace gearhark {

// Bins that hold something of every piece or nearly so: fast pieces end at a lower order than slow ones.
class MeanOfBins {
 public:
  void add(std::span<const float> power, float weight);
  // Up to where the pieces' weight falls below a quarter of the whole.
  [[nodiscard]] std::vector<float> mean() &&;  // in the sums' own memory
  [[nodiscard]] bool empty() const { return sum_.empty(); }

 private:
  std::vector<float> sum_;
  // Weight of the pieces that end with a bin; few, since pieces of one run differ little in length.
  std::vector<std::pair<std::size_t, float>> ends_;
};

// Weight: the share of the turns that the piece fills.
class MeanBandSpectra {
 public:
  // Level by level, in their order, and then the piece's rate.
  void add_level(const BandLevelSpectra& piece, double weight);
  void end_piece(double mean_rate, double weight);
  [[nodiscard]] BandSpectra mean() &&;

 private:
  BandSpectra like_;                            // turns and bands, no power
  std::vector<std::vector<MeanOfBins>> power_;  // [level][band]
  std::size_t next_ = 0;                        // level of the piece at hand
  double rate_ = 0.0, weight_ = 0.0;
};

class MeanOrderSpectrum {
 public:
  void add(const OrderSpectrum& piece, double weight);
  // Background 1.
  [[nodiscard]] OrderSpectrum mean() &&;

 private:
  MeanOfBins power_;
  double turns_ = 0.0, rate_ = 0.0, weight_ = 0.0;
};

}  // namespace gearhark
