// Envelope spectra per turn in many bands: where impacts that a bearing or a chipped tooth makes show as
// combs.
//
//   samples -> lines locked to the shaft limited -> compressed envelopes of bands (time) -> angle -> spectra
//   -> whitened -> groups
//
// Filtering is done in time and the envelope resampled in angle, because resonances stay put in hertz while
// events follow the shaft (Abboud et al. 2017, MSSP 84). The envelope is log(1 + power / local mean): bumps
// of the road must not rule the spectrum, for which a logarithm is advised (Borghesani and Antoni 2017, MSSP
// 93), but of faint events in noise a plain logarithm keeps 6/pi^2 = 61 % of the information, this one 92 %.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "gearhark/speed/tracking.hpp"
#include "gearhark/units/quantity.hpp"

namespace gearhark {

// Neighbouring bands whose mean is looked at.
struct GroupOfBands {
  std::size_t first, count;
  // Two groups before this one of which it is the mean, where there are such.
  std::optional<std::pair<std::size_t, std::size_t>> halves;
};

// Running sums over the bins of several bands side by side, so that the mean over any window costs two
// look-ups, and eight bands can be looked at at once; of groups of bands, the mean of theirs. Whole numbers
// of 1/unit that may wrap round: a difference is right to 1/unit as long as it is below 2^31 / unit.
class GroupSums {
 public:
  static constexpr double unit = 1024.0;
  static constexpr float strongest = 1e5f;  // power; what is stronger counts as this
  // Every band by itself comes first, then any groups. Where a single band is heard, the groups are that band
  // again and count as bands.
  GroupSums(std::size_t bins, std::vector<GroupOfBands> groups);
  GroupSums(std::size_t bins, std::size_t bands);  // no groups of more than one
  // The next bins of every band: power[band * apart + k], k < count.
  void extend(std::span<const float> power, std::size_t apart, std::size_t count);
  [[nodiscard]] std::size_t bins() const { return bins_; }
  [[nodiscard]] std::size_t bands() const { return bands_; }
  [[nodiscard]] std::span<const GroupOfBands> groups() const { return groups_; }
  // Sums of bins 0..k-1, one a band, and more for a multiple of 8.
  [[nodiscard]] const int* row(std::size_t k) const { return sums_.get() + k * lanes_; }
  [[nodiscard]] std::size_t lanes() const { return lanes_; }  // in a row
  [[nodiscard]] double mean(std::size_t group, std::size_t from, std::size_t to) const;

 private:
  std::vector<GroupOfBands> groups_;
  std::size_t bins_, bands_, lanes_, done_ = 0;
  std::unique_ptr<int[]> sums_;
  std::vector<double> running_;  // per band, over the bins so far
};

// What another mask changes of such sums: how much more its bins are in those that only one of the two hides,
// summed up over these alone. Two masks of one run have nearly all bins in common.
class SumsOfOtherMask {
 public:
  SumsOfOtherMask(std::span<const char> mask, std::span<const char> other, std::size_t bands);
  // The next bins of every band, as GroupSums takes them, hidden by neither mask yet.
  void extend(std::span<const float> power, std::size_t apart, std::size_t count);
  // Bins before k that only one of the two hides.
  [[nodiscard]] std::size_t before(std::size_t k) const;
  // Sums of the first n of these, as in a row of the sums.
  [[nodiscard]] const int* row(std::size_t n) const { return sums_.data() + n * lanes_; }
  [[nodiscard]] double mean(const GroupOfBands& group, std::size_t from, std::size_t to) const;

 private:
  struct Block {  // of 64 bins
    std::uint64_t differ = 0;
    std::size_t before = 0;
  };
  std::vector<char> other_;
  std::vector<Block> blocks_;
  std::size_t bands_, lanes_, done_ = 0;
  std::vector<int> sums_;
  std::vector<double> running_;
};

// Power per bin relative to the background (noise alone: mean 1), averaged over neighbouring bands, masked
// where known orders lie.
struct GroupSpectrum {
  Hertz low, high;  // carrier band
  int bands = 1;    // bands averaged
  std::shared_ptr<const GroupSums>
      sums;  // of all groups of this window length; nothing: beyond the bandwidth
  std::shared_ptr<const SumsOfOtherMask> other_mask;  // nothing: the sums are of this mask
  std::size_t lane = 0;                               // which of their groups this is
  std::vector<double> effective_bands;                // independent bands, per octave of bins (octave_of)
  [[nodiscard]] std::size_t bins() const { return sums ? sums->bins() : 0; }
  [[nodiscard]] double mean(std::size_t from, std::size_t to) const {
    return sums->mean(lane, from, to) + (other_mask ? other_mask->mean(sums->groups()[lane], from, to) : 0.0);
  }
  [[nodiscard]] double independent_bands_at(std::size_t bin) const;
};

// Octave o holds bins 2^o .. 2^(o+1)-1, the last all above.
std::size_t octave_of(std::size_t bin, std::size_t octaves);

// Share of the turns over which an envelope fades in and out before its spectrum is taken. A Hann window
// hears half as much of a line that slip smears; lines strong enough to leak further are masked or limited.
inline constexpr double envelope_taper = 0.1;

struct EnvelopeSpectra {
  double turns = 0.0;                 // of the reference shaft over the run; bin width = 1/turns orders
  double mean_rate = 0.0;             // turns per second
  std::vector<GroupSpectrum> groups;  // the same list of bands in every run, by window length
  std::vector<double> masked;         // running count of masked bins
  [[nodiscard]] Order bin_width() const { return Order(1.0 / turns); }
};

struct EnvelopeSettings {
  double rate_hz = 16000.0;        // of the samples handed in
  Hertz highest{7600.0};           // carrier bands above are left out
  double line_limit = 3.0;         // times the running median magnitude
  Seconds slow_mean{0.25};         // level changes slower than this are taken out
  double clip_sigmas = 6.0;        // robust sigmas of the envelope
  double background_orders = 1.5;  // width of the running median
  std::optional<double> turns;     // of the spectra, as equal_angle() takes them; nothing: all of them
};

// Orders to be replaced by the background: known to sound in a healthy car.
struct MaskedOrder {
  double order = 0.0;                   // per turn of the reference shaft
  double relative_half_width = 0.0006;  // besides two and a half bins
};

// Whitened spectra of single bands, per window length; not yet masked or averaged.
struct BandLevelSpectra {
  double turns = 0.0;                     // of the reference shaft
  std::vector<Hertz> low, high;           // per band
  std::vector<std::vector<float>> power;  // [band][bin], background 1; empty: beyond the bandwidth
};
struct BandSpectra {
  double mean_rate = 0.0;
  double pieces = 1.0;  // spectra averaged
  std::vector<BandLevelSpectra> levels;
};

// samples: mono at settings.rate_hz. reference: angle of the shaft whose turns are the order axis. `also`: a
// second shaft (the engine in neutral) whose lines are limited too.
BandSpectra band_spectra(std::span<const float> samples, const AngleTrack& reference, const AngleTrack* also,
                         const EnvelopeSettings& settings);
// The same, one window length after the other, for those who need not hold all.
void for_each_band_level(std::vector<float> samples, const AngleTrack& reference, const AngleTrack* also,
                         const EnvelopeSettings& settings, const std::function<void(BandLevelSpectra)>& use);

struct Masking {
  std::vector<MaskedOrder> known;
  Order lowest;
};
// Masks the known orders (and everything below `lowest` orders) and averages neighbouring bands.
EnvelopeSpectra grouped(const BandSpectra& bands, std::span<const MaskedOrder> known, Order lowest);
// The same of several masks, one result each: what they share is worked out once. The first is the quickest
// to look things up in.
std::vector<EnvelopeSpectra> grouped(const BandSpectra& bands, std::span<const Masking> maskings);
// Of band_spectra(), which are never held as a whole.
std::vector<EnvelopeSpectra> grouped(std::vector<float> samples, const AngleTrack& reference,
                                     const AngleTrack* also, const EnvelopeSettings& settings,
                                     std::span<const Masking> maskings);

// Limits every line that is locked to the shaft to `times` the running median of its neighbours in the
// spectrum per turn.
std::vector<float> limit_locked_lines(std::vector<float> samples, double rate_hz, const AngleTrack& shaft,
                                      double times);

}  // namespace gearhark
