#include "gearhark/evidence/envelope_spectra.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <optional>
#include <utility>

#include "gearhark/evidence/angle_grid.hpp"
#include "gearhark/signal/envelope.hpp"
#include "gearhark/signal/fft.hpp"
#include "gearhark/signal/resample.hpp"
#include "gearhark/signal/statistics.hpp"
#include "wide/comb_loops.hpp"

namespace gearhark {
namespace {

struct Band {
  double low, high;             // Hz
  std::vector<float> envelope;  // compressed power, slow changes removed, one value a hop
};

// Envelopes of the bands of one window length.
struct BandLevel {
  std::size_t window;  // samples; bands are rate/window * 2 wide at their half power
  double hop_s;
  std::vector<Band> bands;  // bins 1 .. window/2 - 1
};

void remove_slow_changes(std::vector<float>& envelope, std::size_t width, double clip_sigmas) {
  for_moving_average(envelope, width, [&](std::size_t first, std::span<const float> slow) {
    for (std::size_t i = 0; i < slow.size(); ++i) envelope[first + i] -= slow[i];
  });
  const float limit = static_cast<float>(clip_sigmas * 1.4826 * median_absolute_deviation(envelope));
  for (float& value : envelope) value = std::clamp(value, -limit, limit);
}

BandLevel compressed_envelopes(std::span<const float> samples, std::size_t window,
                               const EnvelopeSettings& settings) {
  const std::size_t hop = window / 4;
  const std::size_t frames = samples.size() < window ? 0 : (samples.size() - window) / hop + 1;
  BandLevel level{window, static_cast<double>(hop) / settings.rate_hz, {}};
  for (std::size_t bin = 1; bin < window / 2; ++bin) {
    const double centre = static_cast<double>(bin) * settings.rate_hz / static_cast<double>(window);
    const double half = settings.rate_hz / static_cast<double>(window);
    level.bands.push_back({centre - half, centre + half, std::vector<float>(frames)});
  }
  std::vector<float> taper(window);
  for (std::size_t i = 0; i < window; ++i)
    taper[i] = static_cast<float>(
        0.5 - 0.5 * std::cos(2 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(window)));
  const FrameFft fft(taper, window);
  std::vector<float> power(fft.bins() * FrameFft::batch);
  for (std::size_t f = 0; f < frames; f += FrameFft::batch) {
    const std::size_t count = std::min(FrameFft::batch, frames - f);
    fft.lane_power(samples.subspan(f * hop), hop, count, power);
    for (std::size_t b = 0; b < level.bands.size(); ++b)
      std::copy_n(power.data() + (b + 1) * FrameFft::batch, count, level.bands[b].envelope.data() + f);
  }
  const auto slow = static_cast<std::size_t>(std::lround(settings.slow_mean.value() / level.hop_s));
  for (Band& band : level.bands) {
    if (band.high > settings.highest.value()) continue;
    compress_power(band.envelope, slow);
    remove_slow_changes(band.envelope, slow, settings.clip_sigmas);
  }
  return level;
}

// The angle grid that all envelopes of one level share.
struct EnvelopeGrid {
  std::size_t points, bins;  // bins: that are of use
  double turns;
  // Of each point that the shaft reached: the frame of the envelope before it, and how far towards the next.
  std::vector<std::uint32_t> frame;
  std::vector<float> part;
  std::vector<float> taper;
};

EnvelopeGrid envelope_grid(const BandLevel& level, const AngleTrack& shaft, std::optional<double> turns) {
  const std::size_t frames = level.bands.front().envelope.size();
  const double centre_s = 0.5 * 4.0 * level.hop_s;  // a frame stands for the middle of its window
  const double last_s = centre_s + static_cast<double>(frames - 1) * level.hop_s;
  const double first_turn = shaft.at(centre_s), turned = shaft.at(last_s) - first_turn;
  const double over_turned = turns ? *turns / turned : 1.0;
  const std::size_t own = good_length(static_cast<std::size_t>(1.05 * static_cast<double>(frames)));
  EnvelopeGrid grid{
      turns ? good_length(static_cast<std::size_t>(1.05 * static_cast<double>(frames) * over_turned)) : own,
      0,
      turns.value_or(turned),
      {},
      {},
      {}};
  grid.bins = std::min(grid.points, own) / 2 + 1;
  const double step = grid.turns / static_cast<double>(grid.points);
  const std::size_t reached =
      turns ? std::min(grid.points, static_cast<std::size_t>(turned / step)) : grid.points;
  grid.frame.resize(reached);
  grid.part.resize(reached);
  TimesOfEqualAngle times_from(shaft, first_turn, step);
  std::array<double, 512> times{};  // at once
  for (std::size_t first = 0; first < reached; first += times.size()) {
    const std::size_t count = std::min(times.size(), reached - first);
    times_from(first, std::span(times).first(count));
    for (std::size_t i = 0; i < count; ++i) {
      const double at = std::clamp((times[i] - centre_s) / level.hop_s, 0.0, static_cast<double>(frames - 1));
      const auto frame = static_cast<std::uint32_t>(std::min(at, static_cast<double>(frames - 2)));
      grid.frame[first + i] = frame;
      grid.part[first + i] = static_cast<float>(at - frame);
    }
  }
  grid.taper.assign(reached, 1.0f);
  taper(grid.taper, reached, envelope_taper);
  return grid;
}

// Turns envelopes of one level into spectra; keeps its scratch memory.
class Whitener {
 public:
  Whitener(const EnvelopeGrid& grid, const EnvelopeSettings& settings)
      : grid_(grid), fft_(grid.points), angle_(grid.points), power_(grid.points / 2 + 1) {
    width_ = std::max<std::size_t>(21, static_cast<std::size_t>(settings.background_orders * grid.turns));
  }
  // |FFT|^2 over the background: noise has mean 1.
  std::vector<float> operator()(const std::vector<float>& envelope) {
    for (std::size_t i = 0; i < grid_.frame.size(); ++i) {
      const float* here = envelope.data() + grid_.frame[i];
      angle_[i] = grid_.taper[i] * (here[0] + grid_.part[i] * (here[1] - here[0]));
    }
    fft_.power(angle_, power_);
    std::vector<float> power(power_.begin(), power_.begin() + static_cast<std::ptrdiff_t>(grid_.bins));
    const std::vector<float> background = exponential_background(power, width_);
    for (std::size_t k = 0; k < power.size(); ++k) power[k] /= background[k] + 1e-30f;
    return power;
  }

 private:
  const EnvelopeGrid& grid_;
  RealFft fft_;
  std::size_t width_;
  std::vector<float> angle_, power_;
};

BandLevelSpectra level_spectra(std::span<const float> samples, std::size_t window,
                               const AngleTrack& reference, const EnvelopeSettings& settings) {
  BandLevel level = compressed_envelopes(samples, window, settings);
  const EnvelopeGrid grid = envelope_grid(level, reference, settings.turns);
  Whitener whitened(grid, settings);
  BandLevelSpectra spectra{grid.turns, {}, {}, {}};
  for (Band& band : level.bands) {
    const bool heard = band.high <= settings.highest.value();
    spectra.low.emplace_back(band.low);
    spectra.high.emplace_back(band.high);
    spectra.power.push_back(heard ? whitened(std::exchange(band.envelope, {})) : std::vector<float>{});
  }
  return spectra;
}

// To `times` the running median of the bins' magnitudes.
void limit_lines(std::vector<float>& signal, double times) {
  const RealFft fft(signal.size());
  std::vector<std::complex<float>> bins(signal.size() / 2 + 1);
  fft.forward(signal, bins);
  std::vector<float> magnitude(bins.size());
  for (std::size_t k = 0; k < bins.size(); ++k) magnitude[k] = std::sqrt(std::norm(bins[k]));
  const std::vector<float> usual = block_median_of_positive(magnitude, 400);
  for (std::size_t k = 0; k < bins.size(); ++k) {
    const float most = static_cast<float>(times) * usual[k];
    if (magnitude[k] > most) bins[k] *= most / magnitude[k];
  }
  fft.inverse(bins, signal);
}

std::vector<char> mask_of_known_orders(std::size_t bins, double turns, std::span<const MaskedOrder> known,
                                       Order lowest) {
  std::vector<char> masked(bins, 0);
  const auto mark = [&](double from, double to) {
    for (auto k = static_cast<std::size_t>(std::max(0.0, from)); k < bins && static_cast<double>(k) <= to;
         ++k)
      masked[k] = 1;
  };
  for (const MaskedOrder& m : known) {
    const double bin = m.order * turns, half = 2.5 + m.relative_half_width * bin;
    mark(std::ceil(bin - half), bin + half);
  }
  mark(0.0, lowest.value() * turns);
  return masked;
}

// Bands that make a group: each alone, then 2, 4, 8, 16 neighbours with half overlap, then all.
std::vector<std::pair<std::size_t, std::size_t>> nested_groups(std::size_t bands) {
  std::vector<std::pair<std::size_t, std::size_t>> groups;
  for (std::size_t width = 1; width < bands; width *= 2)
    for (std::size_t from = 0; from + width <= bands; from += std::max<std::size_t>(1, width / 2))
      groups.emplace_back(from, from + width);
  groups.emplace_back(0, bands);
  return groups;
}

struct Quartiles {
  double low, middle, high;
};

// Bins that no known order hides, [from, to) each, counted from the first that is held.
struct ClearBins {
  std::vector<std::pair<std::size_t, std::size_t>> stretches;
  std::size_t count = 0;
};

ClearBins clear_bins(const std::vector<char>& masked, std::size_t from, std::size_t to,
                     std::size_t held_from) {
  ClearBins clear;
  while (from < to) {
    const auto at = [&](std::size_t bin) { return masked.begin() + static_cast<std::ptrdiff_t>(bin); };
    const auto first = std::find(at(from), at(to), 0), end = std::find(first, at(to), 1);
    if (first == end) break;
    clear.stretches.emplace_back(first - at(held_from), end - at(held_from));
    clear.count += static_cast<std::size_t>(end - first);
    from = static_cast<std::size_t>(end - masked.begin());
  }
  return clear;
}

// To about a ten-thousandth, of many values whose quartiles lie between 2^-8 and 2^8: counts by exponent and
// eight bits of mantissa, straight lines within.
class QuartileCounts {
 public:
  void add(const float* spectrum, const ClearBins& clear) {
    for (const auto& [from, to] : clear.stretches)
      for (std::size_t k = from; k < to; ++k)
        ++counts_[static_cast<std::size_t>(
            std::clamp((std::bit_cast<std::int32_t>(spectrum[k]) - first) >> shift, std::int32_t{0}, most))];
    count_ += clear.count;
  }
  [[nodiscard]] Quartiles quartiles() const {
    std::size_t bucket = 0, before = 0;
    const auto at = [&](double share) {  // in rising order
      const double rank = share * static_cast<double>(count_ - 1) + 0.5;
      while (static_cast<double>(before + counts_[bucket]) < rank) before += counts_[bucket++];
      const auto edge = [](std::size_t b) {
        return static_cast<double>(std::bit_cast<float>(first + (static_cast<std::int32_t>(b) << shift)));
      };
      return std::lerp(edge(bucket), edge(bucket + 1),
                       (rank - static_cast<double>(before)) / counts_[bucket]);
    };
    const double low = at(0.25), middle = at(0.5);
    return {low, middle, at(0.75)};
  }

 private:
  static constexpr std::int32_t first = 119 << 23, shift = 15, most = 4095;  // the bits of 2^-8
  std::array<std::uint32_t, most + 1> counts_{};
  std::size_t count_ = 0;
};

// Exactly, of several spectra at once, the last of which counts for all that are missing.
std::vector<Quartiles> quartiles_side_by_side(std::span<const float* const> spectra, const ClearBins& clear) {
  std::vector<float> lanes(clear.count * ranked_lanes);
  std::size_t done = 0;
  for (const auto& [from, to] : clear.stretches) {
    std::array<const float*, ranked_lanes> rows{};
    for (std::size_t r = 0; r < ranked_lanes; ++r) rows[r] = spectra[std::min(r, spectra.size() - 1)] + from;
    interleave(rows, to - from, std::span(lanes).subspan(done * ranked_lanes));
    done += to - from;
  }
  const auto at = [&](double share) {
    const double rank = share * static_cast<double>(clear.count - 1);
    const LaneRanked ranked = lane_ranked(lanes, static_cast<std::size_t>(rank));
    std::array<double, ranked_lanes> values{};
    for (std::size_t r = 0; r < ranked_lanes; ++r)
      values[r] = std::lerp(static_cast<double>(ranked.value[r]), static_cast<double>(ranked.above[r]),
                            rank - std::floor(rank));
    return values;
  };
  const auto low = at(0.25), middle = at(0.5), high = at(0.75);
  std::vector<Quartiles> out;
  for (std::size_t r = 0; r < spectra.size(); ++r) out.push_back({low[r], middle[r], high[r]});
  return out;
}

constexpr std::size_t many = 4096;

std::vector<Quartiles> quartiles_of(std::span<const float* const> spectra, const ClearBins& clear) {
  std::vector<Quartiles> out;
  for (std::size_t first = 0; first < spectra.size() && clear.count < many; first += ranked_lanes) {
    const auto some = spectra.subspan(first, std::min(ranked_lanes, spectra.size() - first));
    for (const Quartiles& q : quartiles_side_by_side(some, clear)) out.push_back(q);
  }
  for (std::size_t s = out.size(); s < spectra.size(); ++s) {
    QuartileCounts counts;
    counts.add(spectra[s], clear);
    out.push_back(counts.quartiles());
  }
  return out;
}

// Independent bands from how narrowly the averaged noise spreads: for a gamma of shape k, quartile range /
// median is about 1.349 / sqrt(k); 0.75 corrects it at small k.
double independent_bands(const Quartiles& q, double counted) {
  const double ratio = 1.349 * q.middle / std::max(q.high - q.low, 1e-9);
  return std::clamp(0.75 * ratio * ratio * counted, 0.8, 40.0);
}

// The mean of many pieces counts as that of two, which is the longest run that is heard in one. Its noise is
// less, but what limits a comb's evidence then is what no model knows: sound bearings murmur too. With ten
// minutes counted in full, a rolling element's comb, which also holds the cage's lines, outgrew the outer
// race that was bad.
constexpr double most_pieces = 2.0;

// Means of bands from..to-1 in bins first, first + 1 ...
void mean_of_bands(const std::vector<std::vector<float>>& spectra, std::size_t from, std::size_t to,
                   std::size_t first, std::span<float> mean) {
  std::fill(mean.begin(), mean.end(), 0.0f);
  const float share = 1.0f / static_cast<float>(to - from);
  for (std::size_t b = from; b < to; ++b) {
    const float* band = spectra[b].data() + first;
    for (std::size_t k = 0; k < mean.size(); ++k) mean[k] += band[k] * share;
  }
}

// Masks of one level, and what they have in common: bins that none hides, and those that each leaves besides
// (all others hidden).
struct Masks {
  std::vector<std::vector<char>> each, besides;
  std::vector<char> any;
};

Masks masks_of(std::vector<std::vector<char>> each) {
  Masks masks{std::move(each), {}, {}};
  masks.any.assign(masks.each.front().size(), 0);
  for (const auto& mask : masks.each)
    for (std::size_t k = 0; k < mask.size(); ++k) masks.any[k] = masks.any[k] || mask[k];
  masks.besides = masks.each;
  for (auto& mask : masks.besides)
    for (std::size_t k = 0; k < mask.size(); ++k) mask[k] = mask[k] || !masks.any[k];
  return masks;
}

constexpr std::size_t fewest = 16;  // clear bins that tell anything

// Of every spectrum, held from bin `held_from` on, by mask; bins from..to-1; nothing where too few are clear.
// What no mask hides is counted once.
std::vector<std::vector<Quartiles>> quartiles_by_mask(std::span<const float* const> spectra,
                                                      const Masks& masks, std::size_t from, std::size_t to,
                                                      std::size_t held_from) {
  std::vector<std::vector<Quartiles>> out(masks.each.size());
  const ClearBins common = clear_bins(masks.any, from, to, held_from);
  std::vector<ClearBins> besides;
  for (const auto& mask : masks.besides) besides.push_back(clear_bins(mask, from, to, held_from));
  if (common.count < many) {
    for (std::size_t m = 0; m < out.size(); ++m)
      if (const ClearBins clear = clear_bins(masks.each[m], from, to, held_from); clear.count >= fewest)
        out[m] = quartiles_of(spectra, clear);
    return out;
  }
  for (const float* spectrum : spectra) {
    QuartileCounts counted;
    counted.add(spectrum, common);
    for (std::size_t m = 0; m < out.size(); ++m) {
      QuartileCounts all = counted;
      all.add(spectrum, besides[m]);
      out[m].push_back(all.quartiles());
    }
  }
  return out;
}

// Of every mask and spectrum, by octave.
using BandsByOctave = std::vector<std::vector<std::vector<double>>>;

// Those of the octaves in bins from..to-1, which are held.
void append_octaves(BandsByOctave& out, std::span<const float* const> spectra, const Masks& masks,
                    std::size_t from, std::size_t to, double counted) {
  for (std::size_t octave = std::max<std::size_t>(from, 1); octave < to; octave *= 2) {
    const auto quartiles = quartiles_by_mask(spectra, masks, octave, std::min(2 * octave, to), from);
    for (std::size_t m = 0; m < out.size(); ++m)
      for (std::size_t s = 0; s < spectra.size(); ++s)
        out[m][s].push_back(quartiles[m].empty() ? 1.0 : independent_bands(quartiles[m][s], counted));
  }
}

// Groups whose bands are heard, and which of all groups each is.
struct HeardGroups {
  std::vector<GroupOfBands> groups;
  std::vector<std::size_t> among_all;
};

HeardGroups heard_groups(const BandLevelSpectra& level) {
  HeardGroups heard;
  const auto place_of = [&](std::size_t from, std::size_t count) {
    return static_cast<std::size_t>(
        std::find_if(heard.groups.begin(), heard.groups.end(),
                     [&](const GroupOfBands& g) { return g.first == from && g.count == count; }) -
        heard.groups.begin());
  };
  const auto bands = static_cast<std::size_t>(
      std::find_if(level.power.begin(), level.power.end(), [](const auto& power) { return power.empty(); }) -
      level.power.begin());
  const auto groups = nested_groups(level.power.size());
  for (std::size_t g = 0; g < groups.size(); ++g) {
    const std::size_t from = groups[g].first, to = std::min(bands, groups[g].second);
    if (from >= to) continue;
    const std::size_t count = to - from;
    const std::size_t low = place_of(from, count / 2), high = place_of(from + count / 2, count / 2);
    const bool even = count % 2 == 0 && std::max(low, high) < heard.groups.size();
    heard.groups.push_back({from, count, {}});
    if (even) heard.groups.back().halves = {low, high};
    heard.among_all.push_back(g);
  }
  return heard;
}

// Means over the bands of every group in bins first..first + count - 1, the rows `apart` from each other.
void means_of(const std::vector<GroupOfBands>& heard, const BandLevelSpectra& level, std::size_t first,
              std::size_t count, std::span<float> means, std::size_t apart) {
  const auto row = [&](std::size_t lane) { return means.subspan(lane * apart, count); };
  for (std::size_t lane = 0; lane < heard.size(); ++lane) {
    const auto mean = row(lane);
    if (heard[lane].halves) {
      const auto low = row(heard[lane].halves->first), high = row(heard[lane].halves->second);
      for (std::size_t k = 0; k < count; ++k) mean[k] = 0.5f * (low[k] + high[k]);
      continue;
    }
    mean_of_bands(level.power, heard[lane].first, heard[lane].first + heard[lane].count, first, mean);
  }
}

// Adds the next bins of every band to the sums, those that the mask hides as background.
void extend_masked(GroupSums& sums, std::span<float> rows, std::size_t apart, std::span<const char> mask) {
  std::vector<std::size_t> hidden;
  for (std::size_t k = 0; k < mask.size(); ++k)
    if (mask[k]) hidden.push_back(k);
  std::vector<float> kept;
  for (std::size_t band = 0; band < sums.bands(); ++band)
    for (const std::size_t k : hidden) kept.push_back(std::exchange(rows[band * apart + k], 1.0f));
  sums.extend(rows, apart, mask.size());
  auto back = kept.begin();
  for (std::size_t band = 0; band < sums.bands(); ++band)
    for (const std::size_t k : hidden) rows[band * apart + k] = *back++;
}

std::vector<GroupOfBands> each_by_itself(std::size_t bands) {
  std::vector<GroupOfBands> groups;
  for (std::size_t band = 0; band < bands; ++band) groups.push_back({band, 1, {}});
  return groups;
}

// By mask.
void append_groups(std::vector<EnvelopeSpectra>& out, const BandLevelSpectra& level, const Masks& masks,
                   double counted) {
  const std::size_t before = out.front().groups.size();
  for (const auto& [from, to] : nested_groups(level.power.size())) {
    GroupSpectrum group;
    group.low = level.low[from];
    group.high = level.high[to - 1];
    for (EnvelopeSpectra& one : out) one.groups.push_back(group);
  }
  const auto [heard, among_all] = heard_groups(level);
  if (heard.empty()) return;
  const std::size_t bins = level.power[heard.front().first].size();
  const auto sums = std::make_shared<GroupSums>(bins, heard);
  std::vector<std::shared_ptr<SumsOfOtherMask>> others;  // by mask; of the first nothing
  for (std::size_t m = 0; m < out.size(); ++m)
    others.push_back(m == 0 ? nullptr
                            : std::make_shared<SumsOfOtherMask>(masks.each[0], masks.each[m], sums->bands()));
  BandsByOctave independent(out.size(), std::vector<std::vector<double>>(heard.size()));
  // Of the means no more is held than the longest octave: the last, or the one before if that is cut short.
  const std::size_t last = std::bit_floor(bins - 1),
                    most = std::max({std::min(bins, many), last / 2, bins - last});
  const auto held = std::make_unique_for_overwrite<float[]>(heard.size() * most);
  const std::span<float> means(held.get(), heard.size() * most);
  std::vector<const float*> rows;
  for (std::size_t lane = 0; lane < heard.size(); ++lane) rows.push_back(held.get() + lane * most);
  for (std::size_t from = 0, to = 0; from < bins; from = to) {
    to = std::min(bins, std::max(many, 2 * from));
    constexpr std::size_t at_once = 256;  // bins of all groups, within the nearest cache
    for (std::size_t first = from; first < to; first += at_once) {
      const std::size_t count = std::min(at_once, to - first);
      const std::span<float> next = means.subspan(first - from);
      means_of(heard, level, first, count, next, most);
      for (std::size_t m = 1; m < out.size(); ++m) others[m]->extend(next, most, count);
      extend_masked(*sums, next, most, std::span(masks.each[0]).subspan(first, count));
    }
    append_octaves(independent, rows, masks, from, to, counted);
  }
  for (std::size_t m = 0; m < out.size(); ++m)
    for (std::size_t lane = 0; lane < heard.size(); ++lane) {
      GroupSpectrum& group = out[m].groups[before + among_all[lane]];
      group.bands = static_cast<int>(heard[lane].count);
      group.effective_bands = std::move(independent[m][lane]);
      group.sums = sums;
      group.other_mask = others[m];
      group.lane = lane;
    }
}

// By mask; `pieces` whose spectra these are the mean of.
void append_level(std::vector<EnvelopeSpectra>& out, const BandLevelSpectra& level,
                  std::span<const Masking> maskings, double pieces) {
  std::vector<std::vector<char>> each;
  for (const Masking& masking : maskings)
    each.push_back(
        mask_of_known_orders(level.power.front().size(), level.turns, masking.known, masking.lowest));
  const Masks masks = masks_of(std::move(each));
  append_groups(out, level, masks, std::min(1.0, most_pieces / pieces));
  for (std::size_t m = 0; m < out.size(); ++m) {
    out[m].turns = level.turns;
    const std::vector<char>& masked = masks.each[m];
    if (out[m].masked.size() > masked.size()) continue;
    out[m].masked.assign(masked.size() + 1, 0.0);
    for (std::size_t k = 0; k < masked.size(); ++k) out[m].masked[k + 1] = out[m].masked[k] + masked[k];
  }
}

// From the bands' sums at the first bin and behind the last of so many.
double mean_of_group(const GroupOfBands& group, const int* before, const int* after, std::size_t bins) {
  double sum = 0.0;
  for (std::size_t band = group.first; band < group.first + group.count; ++band)
    sum += static_cast<int>(static_cast<unsigned>(after[band]) - static_cast<unsigned>(before[band]));
  return sum / (GroupSums::unit * static_cast<double>(bins * group.count));
}

}  // namespace

GroupSums::GroupSums(std::size_t bins, std::vector<GroupOfBands> groups)
    : groups_(std::move(groups)),
      bins_(bins),
      bands_(static_cast<std::size_t>(
          std::find_if(groups_.begin(), groups_.end(), [](const GroupOfBands& g) { return g.count > 1; }) -
          groups_.begin())),
      lanes_((bands_ + 7) / 8 * 8),
      sums_(std::make_unique_for_overwrite<int[]>((bins + 1) * lanes_)),
      running_(lanes_) {
  std::fill_n(sums_.get(), lanes_, 0);
}

GroupSums::GroupSums(std::size_t bins, std::size_t bands) : GroupSums(bins, each_by_itself(bands)) {}

void GroupSums::extend(std::span<const float> power, std::size_t apart, std::size_t count) {
  comb_loops().extend_sums(power.data(), apart, count, bands_, strongest, unit, running_.data(),
                           sums_.get() + (done_ + 1) * lanes_);
  done_ += count;
}

double GroupSums::mean(std::size_t group, std::size_t from, std::size_t to) const {
  return mean_of_group(groups_[group], row(from), row(to), to - from);
}

SumsOfOtherMask::SumsOfOtherMask(std::span<const char> mask, std::span<const char> other, std::size_t bands)
    : other_(other.begin(), other.end()),
      blocks_(mask.size() / 64 + 1),
      bands_(bands),
      lanes_((bands + 7) / 8 * 8),
      sums_(lanes_, 0),
      running_(bands, 0.0) {
  std::size_t differ = 0;
  for (std::size_t k = 0; k < mask.size(); ++k) {
    if (k % 64 == 0) blocks_[k / 64].before = differ;
    if (mask[k] == other[k]) continue;
    blocks_[k / 64].differ |= std::uint64_t{1} << k % 64;
    ++differ;
  }
  if (mask.size() % 64 == 0) blocks_.back().before = differ;
  sums_.reserve((differ + 1) * lanes_);
}

void SumsOfOtherMask::extend(std::span<const float> power, std::size_t apart, std::size_t count) {
  for (std::size_t k = 0; k < count; ++k, ++done_) {
    if ((blocks_[done_ / 64].differ >> done_ % 64 & 1) == 0) continue;
    for (std::size_t s = 0; s < bands_; ++s) {
      const double above = static_cast<double>(std::min(power[s * apart + k], GroupSums::strongest)) - 1.0;
      running_[s] += other_[done_] ? -above : above;  // hidden is background, 1
      sums_.push_back(static_cast<int>(std::llround(GroupSums::unit * running_[s])));
    }
    sums_.resize(sums_.size() + lanes_ - bands_);
  }
}

std::size_t SumsOfOtherMask::before(std::size_t k) const {
  const Block& block = blocks_[k / 64];
  const std::uint64_t lower = (std::uint64_t{1} << k % 64) - 1;
  return block.before + static_cast<std::size_t>(std::popcount(block.differ & lower));
}

double SumsOfOtherMask::mean(const GroupOfBands& group, std::size_t from, std::size_t to) const {
  return mean_of_group(group, row(before(from)), row(before(to)), to - from);
}

std::size_t octave_of(std::size_t bin, std::size_t octaves) {
  const auto octave = static_cast<std::size_t>(std::bit_width(std::max<std::size_t>(bin, 1)) - 1);
  return std::min(octave, octaves - 1);
}

double GroupSpectrum::independent_bands_at(std::size_t bin) const {
  return effective_bands.empty() ? 1.0 : effective_bands[octave_of(bin, effective_bands.size())];
}

std::vector<float> limit_locked_lines(std::vector<float> samples, double rate_hz, const AngleTrack& shaft,
                                      double times) {
  const std::size_t count = samples.size();
  const EqualAngle grid = equal_angle(shaft, static_cast<double>(count - 1) / rate_hz, rate_hz);
  std::vector<float> by_angle =
      by_equal_angle(samples, rate_hz, shaft, grid.first_turn, grid.step(), grid.reached);
  std::vector<float>().swap(samples);
  limit_lines(by_angle, times);
  const auto places = [&](std::size_t first, std::span<double> out) {
    shaft.at_each(rate_hz, first, out);
    for (double& angle : out) angle = (angle - grid.first_turn) / grid.step();
  };
  samples.resize(count);
  resample_at(by_angle, 1.0, places, samples);
  return samples;
}

void for_each_band_level(std::vector<float> samples, const AngleTrack& reference, const AngleTrack* also,
                         const EnvelopeSettings& settings, const std::function<void(BandLevelSpectra)>& use) {
  samples = limit_locked_lines(std::move(samples), settings.rate_hz, reference, settings.line_limit);
  if (also) samples = limit_locked_lines(std::move(samples), settings.rate_hz, *also, settings.line_limit);
  for (const std::size_t window : {std::size_t{64}, std::size_t{32}, std::size_t{16}})
    use(level_spectra(samples, window, reference, settings));
}

BandSpectra band_spectra(std::span<const float> samples, const AngleTrack& reference, const AngleTrack* also,
                         const EnvelopeSettings& settings) {
  BandSpectra out;
  for_each_band_level({samples.begin(), samples.end()}, reference, also, settings,
                      [&](BandLevelSpectra level) { out.levels.push_back(std::move(level)); });
  out.mean_rate = reference.mean_rate();
  return out;
}

std::vector<EnvelopeSpectra> grouped(const BandSpectra& bands, std::span<const Masking> maskings) {
  std::vector<EnvelopeSpectra> out(maskings.size());
  for (const BandLevelSpectra& level : bands.levels) append_level(out, level, maskings, bands.pieces);
  for (EnvelopeSpectra& one : out) one.mean_rate = bands.mean_rate;
  return out;
}

std::vector<EnvelopeSpectra> grouped(std::vector<float> samples, const AngleTrack& reference,
                                     const AngleTrack* also, const EnvelopeSettings& settings,
                                     std::span<const Masking> maskings) {
  std::vector<EnvelopeSpectra> out(maskings.size());
  for_each_band_level(std::move(samples), reference, also, settings,
                      [&](const BandLevelSpectra& level) { append_level(out, level, maskings, 1.0); });
  for (EnvelopeSpectra& one : out) one.mean_rate = reference.mean_rate();
  return out;
}

EnvelopeSpectra grouped(const BandSpectra& bands, std::span<const MaskedOrder> known, Order lowest) {
  const Masking masking{{known.begin(), known.end()}, lowest};
  return std::move(grouped(bands, std::span(&masking, 1)).front());
}

}  // namespace gearhark
