#include "gearhark/recording/quality.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "gearhark/signal/statistics.hpp"
#include "moments.hpp"
#include "short_spectra.hpp"

namespace gearhark {
namespace {

// Thresholds. Where no reason stands beside one it is common practice, no published source.
constexpr double silent_db =
    -85.0;  // 13 dB above the noise of 16-bit rounding (-98 dB): nothing but rounding
constexpr double too_quiet_db = -60.0, much_too_quiet_db = -72.0;
constexpr double clipped_share_noted = 1e-4, clipped_share_serious = 5e-3;
constexpr double pumping_noted_db = 6.0, pumping_serious_db = 12.0;
constexpr double wind_noted_db = 10.0, wind_serious_db = 16.0;
// Gear meshes lie below 3 kHz and bearings ring up to about 8 kHz; a telephone ends at 3.4 kHz.
constexpr double narrow_hz = 6000.0, telephone_hz = 4200.0;
// Lines an order apart need some fifty turns of a wheel that turns ten times a second.
constexpr double short_s = 15.0, too_short_s = 5.0;
// One bump in three seconds is a bad road. More than one a second is no road but the noise itself, perhaps
// the fault, and must not be cut out.
constexpr double many_bumps_per_minute = 20.0, not_bumps_per_minute = 60.0;
constexpr double dropped_share_serious = 0.02;
// With more of the moments clipped than this there is nothing left to prefer, so none are cut out.
constexpr double clipped_moments_cut_out = 0.3;
// The impact and the rattle after it.
constexpr std::size_t before_a_bump = 3, after_a_bump = 15, around_a_gap = 3;  // moments of 10 ms
// White noise of rounding to 16 bits: 1/12 of a step squared. Decoders of lossy formats work in floating
// point, and their empty bands lie below this second floor.
constexpr double rounding_power = 1.0 / 12.0 / 32768.0 / 32768.0, decoder_power = 1e-13;
constexpr double surroundings_s = 10.0;  // slower swings than this are the road and the speed

double mean_power(std::span<const float> samples) {
  double power = 0.0;
  for (float x : samples) power += static_cast<double>(x) * x;
  return samples.empty() ? 0.0 : power / static_cast<double>(samples.size());
}

bool rounded_to_16_bits(std::span<const float> samples) {
  return std::all_of(samples.begin(), samples.end(),
                     [](float x) { return x * 32768.0F == std::round(x * 32768.0F); });
}

double share_of(const std::vector<bool>& flags) {
  return flags.empty() ? 0.0
                       : static_cast<double>(std::count(flags.begin(), flags.end(), true)) /
                             static_cast<double>(flags.size());
}

void merge(std::vector<bool>& all, const std::vector<bool>& more) {
  for (std::size_t i = 0; i < all.size(); ++i) all[i] = all[i] || more[i];
}

// Steps of the band levels that hold no flagged moment.
std::vector<std::size_t> clean_steps(const ShortSpectra& spectra, const std::vector<bool>& spoilt,
                                     double moment_s) {
  std::vector<std::size_t> clean;
  for (std::size_t s = 0; s < spectra.band_levels[0].size(); ++s) {
    const auto from = static_cast<std::size_t>(static_cast<double>(s) * spectra.step_s / moment_s);
    const auto to = std::min(
        spoilt.size(), static_cast<std::size_t>(static_cast<double>(s + 1) * spectra.step_s / moment_s) + 1);
    if (from < to && std::none_of(spoilt.begin() + static_cast<long>(from),
                                  spoilt.begin() + static_cast<long>(to), [](bool b) { return b; }))
      clean.push_back(s);
  }
  return clean;
}

std::vector<float> picked(const std::vector<float>& values, const std::vector<std::size_t>& which) {
  std::vector<float> out;
  for (std::size_t i : which) out.push_back(values[i]);
  return out;
}

std::vector<float> without_slow(const std::vector<float>& levels, double step_s) {
  std::vector<float> out = moving_average(levels, static_cast<std::size_t>(surroundings_s / step_s));
  for (std::size_t i = 0; i < out.size(); ++i) out[i] = levels[i] - out[i];
  return out;
}

double mean_product(const std::vector<float>& a, const std::vector<float>& b) {
  double sum = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i) sum += static_cast<double>(a[i]) * b[i];
  return a.empty() ? 0.0 : sum / static_cast<double>(a.size());
}

// A gain moves all bands together, noise moves each by itself: the mean covariance between the levels of
// different bands is the variance of the gain, whatever the noise. As the full swing of a sine of that
// variance.
double level_pumping(const ShortSpectra& spectra, const std::vector<std::size_t>& clean,
                     double bandwidth_hz) {
  std::vector<std::vector<float>> levels;
  for (std::size_t b = 1; b < std::size(bands); ++b)
    if (bands[b].high_hz <= bandwidth_hz)
      levels.push_back(without_slow(picked(spectra.band_levels[b], clean), spectra.step_s));
  double covariance = 0.0, pairs = 0.0;
  for (std::size_t a = 0; a < levels.size(); ++a)
    for (std::size_t b = a + 1; b < levels.size(); ++b) {
      covariance += mean_product(levels[a], levels[b]);
      ++pairs;
    }
  return pairs > 0.0 ? 2.0 * std::sqrt(2.0 * std::max(0.0, covariance / pairs)) : 0.0;
}

// Gusts push on the microphone below 120 Hz and leave the middle bands alone.
double wind(const ShortSpectra& spectra, const std::vector<std::size_t>& clean) {
  std::vector<float> surplus;
  for (std::size_t s : clean) surplus.push_back(spectra.band_levels[0][s] - spectra.band_levels[2][s]);
  if (surplus.empty()) return 0.0;
  surplus = without_slow(surplus, spectra.step_s);
  return quantile(surplus, 0.95) - quantile(surplus, 0.2);
}

Problem silent_problem(const RecordingQuality& q) {
  return {"silent", fmt::format("The recording is silent ({:.0f} dB re full scale).", q.level.value()),
          "Check that the app may use the microphone and that nothing covers it, then record again.", true};
}

void note_problems(double duration_s, int bumps, RecordingQuality& q) {
  const auto note = [&](bool present, bool serious, std::string what, std::string sentence,
                        std::string cure) {
    if (present) q.problems.push_back({std::move(what), std::move(sentence), std::move(cure), serious});
  };
  note(q.usable.value() < short_s, q.usable.value() < too_short_s, "too short",
       fmt::format("Only {:.1f} s of {:.1f} s can be used.", q.usable.value(), duration_s),
       "Record 30 s or more at steady speed.");
  note(q.level.value() < too_quiet_db, q.level.value() < much_too_quiet_db, "too quiet",
       fmt::format("The level is {:.0f} dB re full scale, near the phone's own noise.", q.level.value()),
       "Put the phone nearer to the noise, uncovered.");
  note(q.clipped_share > clipped_share_noted, q.clipped_share > clipped_share_serious, "clipping",
       fmt::format("{:.2f} % of the samples are at full scale: the loudest moments are cut flat.",
                   100.0 * q.clipped_share),
       "Put the phone further from the noise or lower the recording level.");
  note(q.bandwidth.value() < narrow_hz, q.bandwidth.value() < telephone_hz, "narrow band",
       fmt::format("There is no sound above {:.1f} kHz, and bearings ring higher than that.",
                   q.bandwidth.value() / 1000.0),
       "Set the recorder to its best quality (44.1 or 48 kHz, lossless or 128 kb/s and more), not to calls "
       "or memos.");
  note(q.level_pumping_db > pumping_noted_db, q.level_pumping_db > pumping_serious_db, "level pumping",
       fmt::format("The level swings by {:.0f} dB in all bands together: an automatic gain control, or an "
                   "engine that is not held steady.",
                   q.level_pumping_db),
       "Hold the speed, and use a recorder whose automatic gain and noise suppression can be switched off.");
  note(q.wind_db > wind_noted_db, q.wind_db > wind_serious_db, "wind",
       fmt::format("Gusts below 120 Hz rise {:.0f} dB above the calm.", q.wind_db),
       "Close the windows and the fan, and keep the phone out of the draught.");
  note(q.dropouts > 0, q.dropped.value() > dropped_share_serious * duration_s, "dropouts",
       fmt::format("The sound breaks off {} time{}, {:.2f} s together.", q.dropouts,
                   q.dropouts == 1 ? "" : "s", q.dropped.value()),
       "Close other apps, switch noise suppression off and record again.");
  const bool cut_out = q.bumps_per_minute <= not_bumps_per_minute;
  note(q.bumps_per_minute > many_bumps_per_minute, false, "bumps",
       fmt::format("{} impacts, {:.0f} a minute; {}.", bumps, q.bumps_per_minute,
                   cut_out ? "they were cut out" : "too many to be the road alone, so they were kept"),
       "Choose a smooth road, and lay the phone on something soft.");
  std::stable_sort(q.problems.begin(), q.problems.end(),
                   [](const Problem& a, const Problem& b) { return a.serious > b.serious; });
}

}  // namespace

RecordingQuality assess(const Recording& recording) {
  const std::span<const float> samples = recording.samples;
  RecordingQuality q;
  const double power = mean_power(samples);
  q.level = Decibels::of_power_ratio(std::max(power, 1e-20));
  if (q.level.value() < silent_db) {
    q.problems.push_back(silent_problem(q));
    return q;
  }

  const ShortSpectra spectra = short_spectra(samples, recording.sample_rate);
  const double floor_power = rounded_to_16_bits(samples) ? rounding_power : decoder_power;
  q.bandwidth = Hertz(bandwidth_of(spectra, floor_power / (recording.sample_rate / 2.0)));

  const Moments moments = moments_of(samples, recording.sample_rate);
  const double minutes = recording.duration().value() / 60.0;
  Flagged bumps = bumps_in(moments);
  Flagged dropouts = dropouts_in(moments);
  const Flagged clipping = clipping_in(moments);
  for (int count : moments.clipped) q.clipped_share += count;
  q.clipped_share /= static_cast<double>(samples.size());
  q.bumps_per_minute = bumps.events / minutes;
  q.dropouts = dropouts.events;
  q.dropped = Seconds(share_of(dropouts.moments) * recording.duration().value());

  std::vector<bool> spoilt(moments.level.size());
  widen(dropouts.moments, around_a_gap, around_a_gap);
  merge(spoilt, dropouts.moments);
  if (q.bumps_per_minute <= not_bumps_per_minute) {
    widen(bumps.moments, before_a_bump, after_a_bump);
    merge(spoilt, bumps.moments);
  }
  if (share_of(clipping.moments) < clipped_moments_cut_out) merge(spoilt, clipping.moments);
  q.stretches = unflagged(spoilt, moments.moment_s, recording.duration());
  for (const Stretch& stretch : q.stretches) q.usable += stretch.to - stretch.from;

  const std::vector<std::size_t> clean = clean_steps(spectra, spoilt, moments.moment_s);
  q.level_pumping_db = level_pumping(spectra, clean, q.bandwidth.value());
  q.wind_db = wind(spectra, clean);
  note_problems(recording.duration().value(), bumps.events, q);
  return q;
}

void QualityOfPieces::add(const Recording& piece) {
  const RecordingQuality q = assess(piece);
  const double seconds = piece.duration().value();
  power_ += q.level.power_ratio() * seconds;
  sum_.clipped_share += q.clipped_share * seconds;
  bumps_ += q.bumps_per_minute * seconds / 60.0;
  sum_.dropouts += q.dropouts;
  sum_.dropped += q.dropped;
  sum_.usable += q.usable;
  for (const Stretch& stretch : q.stretches) {
    const Seconds from = stretch.from + Seconds(seconds_), to = stretch.to + Seconds(seconds_);
    const bool goes_on = !sum_.stretches.empty() && (from - sum_.stretches.back().to).value() < 1e-6;
    if (goes_on)
      sum_.stretches.back().to = to;
    else
      sum_.stretches.push_back({from, to});
  }
  seconds_ += seconds;
  if (q.level.value() < silent_db) return;
  heard_s_ += seconds;
  gain_variance_ += q.level_pumping_db * q.level_pumping_db * seconds;
  wind_ += q.wind_db * seconds;
  bandwidths_.emplace_back(q.bandwidth.value(), seconds);
}

RecordingQuality QualityOfPieces::whole() const {
  RecordingQuality q = sum_;
  if (seconds_ <= 0.0) return q;
  q.level = Decibels::of_power_ratio(std::max(power_ / seconds_, 1e-20));
  if (q.level.value() < silent_db || heard_s_ <= 0.0) {
    q.problems.push_back(silent_problem(q));
    return q;
  }
  q.clipped_share /= seconds_;
  q.bumps_per_minute = 60.0 * bumps_ / seconds_;
  q.level_pumping_db = std::sqrt(gain_variance_ / heard_s_);
  q.wind_db = wind_ / heard_s_;
  // The middle one: a quiet piece may hold nothing high without the codec being narrow.
  auto sorted = bandwidths_;
  std::sort(sorted.begin(), sorted.end());
  double before = 0.0;
  for (const auto& [hertz, seconds] : sorted) {
    q.bandwidth = Hertz(hertz);
    if ((before += seconds) >= 0.5 * heard_s_) break;
  }
  note_problems(seconds_, static_cast<int>(std::lround(bumps_)), q);
  return q;
}

}  // namespace gearhark
