#include "filters.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "gearhark/signal/fft.hpp"
#include "turning.hpp"

namespace gearhark::synth {

namespace {
constexpr double two_pi = 2.0 * std::numbers::pi;
}

std::vector<Resonance> draw_resonances(Random& random, int count, double low_hz, double high_hz) {
  std::vector<Resonance> resonances;
  for (int i = 0; i < count; ++i)
    resonances.push_back(
        {random.log_uniform(low_hz, high_hz), random.log_uniform(0.02, 0.08), random.scatter_db(0.0, 4.0)});
  return resonances;
}

void strike(Track& track, double seconds, double amplitude) {
  const double place = seconds * sample_rate;
  const auto low = static_cast<std::ptrdiff_t>(std::floor(place));
  if (low < 0 || static_cast<std::size_t>(low) + 1 >= track.size()) return;
  const double share = place - static_cast<double>(low);
  const auto index = static_cast<std::size_t>(low);
  track[index] += static_cast<float>(amplitude * (1.0 - share));
  track[index + 1] += static_cast<float>(amplitude * share);
}

Track ring(const Track& impacts, std::span<const Resonance> resonances) {
  Track sum(impacts.size(), 0.0f);
  for (const Resonance& resonance : resonances) {
    const double w = two_pi * resonance.hz / sample_rate, r = std::exp(-w * resonance.damping);
    const double a1 = 2.0 * r * std::cos(w), a2 = -r * r, b = resonance.gain * std::sin(w);
    double y1 = 0.0, y2 = 0.0;
    for (std::size_t i = 0; i < impacts.size(); ++i) {
      const double y = b * static_cast<double>(impacts[i]) + a1 * y1 + a2 * y2;
      y2 = y1;
      y1 = std::abs(y) < 1e-25 ? 0.0 : y;  // denormal numbers are slow
      sum[i] += static_cast<float>(y);
    }
  }
  return sum;
}

Section Section::high_pass(double hz, double q) {
  const double w = two_pi * hz / sample_rate, c = std::cos(w), alpha = std::sin(w) / (2.0 * q),
               a0 = 1.0 + alpha;
  return {(1 + c) / 2 / a0, -(1 + c) / a0, (1 + c) / 2 / a0, -2 * c / a0, (1 - alpha) / a0};
}

Section Section::low_pass(double hz, double q) {
  const double w = two_pi * hz / sample_rate, c = std::cos(w), alpha = std::sin(w) / (2.0 * q),
               a0 = 1.0 + alpha;
  return {(1 - c) / 2 / a0, (1 - c) / a0, (1 - c) / 2 / a0, -2 * c / a0, (1 - alpha) / a0};
}

Section Section::peak(double hz, double q, double gain_db) {
  const double w = two_pi * hz / sample_rate, c = std::cos(w), alpha = std::sin(w) / (2.0 * q);
  const double a = std::pow(10.0, gain_db / 40.0), a0 = 1.0 + alpha / a;
  return {(1 + alpha * a) / a0, -2 * c / a0, (1 - alpha * a) / a0, -2 * c / a0, (1 - alpha / a) / a0};
}

void Section::run(std::span<float> track) const {
  double s1 = 0.0, s2 = 0.0;  // transposed form II
  for (float& sample : track) {
    const double x = static_cast<double>(sample), y = b0 * x + s1;
    s1 = b1 * x - a1 * y + s2;
    s2 = b2 * x - a2 * y + 1e-30;
    sample = static_cast<float>(y);
  }
}

Track shaped_noise(std::size_t samples, Random& random, const std::function<double(double)>& response) {
  const std::size_t length = good_length(samples);
  const RealFft fft(length);
  std::vector<std::complex<float>> bins(length / 2 + 1);
  const double bin_hz = sample_rate / static_cast<double>(length);
  // The response is smooth: looked up every 2 % of frequency.
  double known_to = 0.0, gain = 0.0;
  for (std::size_t k = 1; k + 1 < bins.size(); ++k) {
    const double hz = bin_hz * static_cast<double>(k);
    if (hz >= known_to) {
      gain = response(hz);
      known_to = hz * 1.02;
    }
    bins[k] = {static_cast<float>(gain * random.gaussian()), static_cast<float>(gain * random.gaussian())};
  }
  Track track(length);
  fft.inverse(bins, track);
  track.resize(samples);
  const auto level = static_cast<float>(1.0 / std::max(rms(track), 1e-30));
  for (float& sample : track) sample *= level;
  return track;
}

void scale(std::span<float> track, std::span<const double> gain) {
  for (std::size_t i = 0; i + 1 < gain.size(); ++i) {
    const double slope = (gain[i + 1] - gain[i]) / samples_per_step;
    for (int s = 0; s < samples_per_step; ++s)
      track[i * samples_per_step + static_cast<std::size_t>(s)] *= static_cast<float>(gain[i] + slope * s);
  }
}

void add(std::span<float> to, std::span<const float> what, double gain) {
  const auto factor = static_cast<float>(gain);
  for (std::size_t i = 0; i < to.size(); ++i) to[i] += factor * what[i];
}

double rms(std::span<const float> track) {
  double sum = 0.0;
  for (float sample : track) sum += static_cast<double>(sample) * static_cast<double>(sample);
  return std::sqrt(sum / static_cast<double>(std::max<std::size_t>(track.size(), 1)));
}

Path::Path(Random& random, double sd_db) {
  for (int i = 0; i < 14; ++i)
    bumps_.push_back(
        {std::log(random.log_uniform(60.0, 8000.0)), random.uniform(0.08, 0.35), sd_db * random.gaussian()});
}

double Path::gain(double hz) const {
  double db = 0.0;
  const double log_hz = std::log(std::max(hz, 1.0));
  for (const Bump& bump : bumps_) {
    const double away = (log_hz - bump.log_hz) / bump.width;
    if (std::abs(away) < 4.0) db += bump.db * std::exp(-0.5 * away * away);
  }
  return std::pow(10.0, db / 20.0);
}

std::vector<double> third_octaves(std::span<const float> track, Hertz highest) {
  constexpr std::size_t length = 16384;
  constexpr int first = -17;  // 10^(x/10) kHz: 20 Hz
  const double top = std::floor(10.0 * std::log10(highest.value() / 1000.0) - 0.5);
  const int last = std::clamp(static_cast<int>(top), first, 10);  // 10 kHz
  const RealFft fft(length);
  std::vector<float> frame(length);
  std::vector<std::complex<float>> bins(length / 2 + 1);
  std::vector<double> bands(static_cast<std::size_t>(last - first + 1), 0.0);
  const double band_of_bin = sample_rate / static_cast<double>(length);
  for (std::size_t from = 0; from == 0 || from + length <= track.size(); from += length / 2) {
    for (std::size_t i = 0; i < length; ++i) {
      const double window =
          0.5 - 0.5 * std::cos(two_pi * static_cast<double>(i) / static_cast<double>(length));
      frame[i] = from + i < track.size() ? static_cast<float>(window) * track[from + i] : 0.0f;
    }
    fft.forward(frame, bins);
    for (std::size_t k = 1; k < bins.size(); ++k) {
      const double x = 10.0 * std::log10(static_cast<double>(k) * band_of_bin / 1000.0);
      const long band = std::lround(x) - first;
      if (band >= 0 && band < static_cast<long>(bands.size()))
        bands[static_cast<std::size_t>(band)] += static_cast<double>(std::norm(bins[k]));
    }
  }
  return bands;
}

}  // namespace gearhark::synth
