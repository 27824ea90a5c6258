#include "short_spectra.hpp"

#include <algorithm>
#include <cmath>

#include "gearhark/signal/fft.hpp"
#include "gearhark/signal/statistics.hpp"
#include "gearhark/signal/windows.hpp"

namespace gearhark {
namespace {

// 25 Hz bins resolve the edges of codecs to a bin or two; steps of 0.2 s follow a gain control, whose release
// is of the order of a second.
constexpr double frame_s = 0.04, step_s = 0.2;
constexpr double tiny = 1e-20;

std::vector<double> decibels(const std::vector<double>& density) {
  std::vector<double> db(density.size());
  for (std::size_t i = 0; i < db.size(); ++i) db[i] = 10.0 * std::log10(density[i] + tiny * 1e-5);
  return db;
}

double quantile_between(const std::vector<double>& values, double low, double high, double share) {
  const auto last = static_cast<double>(values.size());
  const auto from = static_cast<std::size_t>(std::clamp(low, 0.0, last));
  const auto to = static_cast<std::size_t>(std::clamp(high, 0.0, last));
  if (from >= to) return -1e9;
  const std::vector<float> part(values.begin() + static_cast<long>(from),
                                values.begin() + static_cast<long>(to));
  return quantile(part, share);
}

double median_between(const std::vector<double>& values, double low, double high) {
  return quantile_between(values, low, high, 0.5);
}

// dB re full scale of the bins in the band, each weighing `scale`.
float level_in(const Band& band, const std::vector<double>& power, double scale, double bin_hz) {
  double sum = tiny;
  for (auto k = static_cast<std::size_t>(std::ceil(band.low_hz / bin_hz)); k < power.size(); ++k) {
    if (static_cast<double>(k) * bin_hz >= band.high_hz) break;
    sum += power[k] * scale;
  }
  return static_cast<float>(10.0 * std::log10(sum));
}

// Edges are looked for above this: road noise falls steeply below, and no phone codec cuts there.
constexpr double lowest_edge_hz = 2000.0;
// An edge is a fall of 15 dB within some 300 Hz; rooms and cars do not do that, filters and codecs do.
// Twice as far off it must still be seen, or it was the side of a whine's hump.
constexpr double edge_db = 15.0, edge_gap_hz = 100.0, edge_span_hz = 400.0;
// The edge is where the level is last within this of the band below: beyond, codecs pass something now and
// then.
constexpr double edge_begins_db = 10.0;
// Nearly all that lies above an edge must stay this far below it, else it was a dip.
constexpr double stays_below_db = 10.0, most_of_the_rest = 0.9;

struct Fall {
  double db = 0.0, below_db = 0.0;
};

Fall fall_over(const std::vector<double>& db, double at, double gap, double span) {
  const double below = median_between(db, at - span, at - gap);
  return {below - median_between(db, at + gap, at + span), below};
}

// How far the spectrum falls about a bin, less than an edge does where it comes back up further on.
Fall fall_at(const std::vector<double>& db, double at, double bin_hz) {
  const double gap = edge_gap_hz / bin_hz, span = edge_span_hz / bin_hz;
  Fall fall = fall_over(db, at, gap, span);
  if (fall.db < edge_db) return fall;
  fall.db = std::min(fall.db, fall_over(db, at, 2.0 * gap, 2.0 * span).db);
  if (fall.db < edge_db) return fall;
  const double end = static_cast<double>(db.size());
  if (fall.below_db - quantile_between(db, at + gap, end, most_of_the_rest) < stays_below_db) fall.db = 0.0;
  return fall;
}

// The lowest lasting fall, at its steepest; the spectrum's end when there is none.
double edge_of(const std::vector<double>& db, double bin_hz) {
  const double last = static_cast<double>(db.size()) - 3.0 * edge_gap_hz / bin_hz,
               span = edge_span_hz / bin_hz;
  double at = lowest_edge_hz / bin_hz;
  while (at < last && fall_at(db, at, bin_hz).db < edge_db) at += 1.0;
  if (at >= last) return static_cast<double>(db.size()) * bin_hz;
  Fall steepest;
  double edge = at;
  for (double j = at; j < std::min(last, at + span); j += 1.0)
    if (const Fall fall = fall_at(db, j, bin_hz); fall.db > steepest.db) {
      steepest = fall;
      edge = j;
    }
  const double end = std::min(edge + span, static_cast<double>(db.size()));
  for (double j = std::max(0.0, edge - span); j < end; j += 1.0)
    if (db[static_cast<std::size_t>(j)] > steepest.below_db - edge_begins_db) edge = j + 1.0;
  return edge * bin_hz;
}

double end_above(const std::vector<double>& db, double bin_hz, double floor_db) {
  constexpr double half_width_bins = 3.0;
  for (auto k = static_cast<double>(db.size()) - 1.0; k > half_width_bins; k -= 1.0)
    if (median_between(db, k - half_width_bins, k + half_width_bins + 1.0) > floor_db) return k * bin_hz;
  return 0.0;
}

}  // namespace

ShortSpectra short_spectra(std::span<const float> samples, double rate_hz) {
  const std::size_t length = good_length(static_cast<std::size_t>(rate_hz * frame_s));
  const std::vector<float> window = window_weights(Window::hann, length);
  const FrameFft fft(window, length);
  double window_power = 0.0;
  for (float w : window) window_power += static_cast<double>(w) * w;
  const std::size_t frames_per_step =
      static_cast<std::size_t>(std::round(step_s * rate_hz / static_cast<double>(length)));
  ShortSpectra s;
  s.bin_hz = rate_hz / static_cast<double>(length);
  s.step_s = static_cast<double>(frames_per_step * length) / rate_hz;
  s.density.assign(length / 2 + 1, 0.0);
  s.band_levels.resize(std::size(bands));

  std::vector<float> power(fft.bins() * FrameFft::batch);
  std::vector<double> step(fft.bins(), 0.0);
  const double scale = 2.0 / (window_power * rate_hz);
  const std::size_t frames = samples.size() / length;
  for (std::size_t f = 0; f < frames; ++f) {
    const std::size_t lane = f % FrameFft::batch;
    if (lane == 0)
      fft.lane_power(samples.subspan(f * length), length, std::min(FrameFft::batch, frames - f), power);
    for (std::size_t k = 0; k < step.size(); ++k)
      step[k] += scale * static_cast<double>(power[k * FrameFft::batch + lane]);
    const bool step_is_full = (f + 1) % frames_per_step == 0;
    if (!step_is_full && f + 1 != frames) continue;
    for (std::size_t b = 0; step_is_full && b < std::size(bands); ++b)
      s.band_levels[b].push_back(
          level_in(bands[b], step, s.bin_hz / static_cast<double>(frames_per_step), s.bin_hz));
    for (std::size_t k = 0; k < step.size(); ++k) s.density[k] += step[k] / static_cast<double>(frames);
    std::fill(step.begin(), step.end(), 0.0);
  }
  return s;
}

double bandwidth_of(const ShortSpectra& spectra, double floor_density) {
  const std::vector<double> db = decibels(spectra.density);
  constexpr double above_floor_db = 3.0;
  const double end = end_above(db, spectra.bin_hz, 10.0 * std::log10(floor_density) + above_floor_db);
  return std::min(edge_of(db, spectra.bin_hz), end);
}

}  // namespace gearhark
