// From the cabin's air to the samples a phone stores.
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "gearhark/signal/fft.hpp"
#include "scene.hpp"

namespace gearhark::synth {

namespace {

// Speech processing that turns down whatever is steady in each frequency: a floor that follows slowly upwards
// and fast downwards, and a gain that falls where the sound is near its floor.
void suppress_steady(Track& track) {
  constexpr std::size_t length = 1024, hop = length / 2;
  const RealFft fft(length);
  std::vector<float> window(length), frame(length);
  for (std::size_t i = 0; i < length; ++i)
    window[i] = static_cast<float>(std::sin(std::numbers::pi * (static_cast<double>(i) + 0.5) / length));
  std::vector<std::complex<float>> bins(length / 2 + 1);
  std::vector<float> floor(bins.size(), 0.0f);
  Track out(track.size(), 0.0f);
  for (std::size_t from = 0; from + length <= track.size(); from += hop) {
    for (std::size_t i = 0; i < length; ++i) frame[i] = track[from + i] * window[i];
    fft.forward(frame, bins);
    for (std::size_t k = 0; k < bins.size(); ++k) {
      const float size = std::abs(bins[k]);
      floor[k] += (size > floor[k] ? 0.004f : 0.05f) * (size - floor[k]);
      bins[k] *= std::max(0.3f, 1.0f - 0.75f * floor[k] / std::max(size, 1e-12f));
    }
    fft.inverse(bins, frame);
    for (std::size_t i = 0; i < length; ++i) out[from + i] += frame[i] * window[i];
  }
  track = std::move(out);
}

// Follows the level: falls within 50 ms, recovers over seconds.
void level_automatically(Track& track, double target) {
  double envelope = target * target;
  const double attack = 1.0 / (0.05 * sample_rate), release = 1.0 / (2.5 * sample_rate);
  for (float& sample : track) {
    const double power = static_cast<double>(sample) * static_cast<double>(sample);
    envelope += (power > envelope ? attack : release) * (power - envelope);
    sample *= static_cast<float>(std::clamp(std::pow(target / std::sqrt(envelope + 1e-12), 0.6), 0.1, 8.0));
  }
}

float soft_clip(float sample) {
  constexpr float knee = 0.8f;
  const float size = std::abs(sample);
  if (size <= knee) return sample;
  return std::copysign(knee + (1.0f - knee) * std::tanh((size - knee) / (1.0f - knee)), sample);
}

}  // namespace

// Standing waves of the cabin and early reflections.
void cabin(const Scene& scene, std::span<float> track) {
  Random character = scene.character("cabin");
  for (int i = 0; i < 5; ++i)
    Section::peak(character.log_uniform(40.0, 280.0), character.uniform(2.5, 6.0),
                  character.uniform(1.0, 6.0))
        .run(track);
  const Track direct(track.begin(), track.end());
  for (int i = 0; i < 8; ++i) {
    const double delay_s = character.uniform(0.001, 0.018);
    const auto delay = static_cast<std::size_t>(delay_s * sample_rate);
    const auto gain = static_cast<float>(0.16 * character.gaussian() * std::exp(-delay_s / 0.012));
    for (std::size_t n = delay; n < track.size(); ++n) track[n] += gain * direct[n - delay];
  }
}

void microphone(const Scene& scene, std::span<float> track) {
  Random character = scene.character("microphone");
  Section::high_pass(scene.settings.phone.low_cut.value(), 0.7).run(track);
  Section::peak(character.log_uniform(3000.0, 9000.0), 1.2, character.uniform(0.0, 5.0)).run(track);
  Section::low_pass(19000.0, 0.7).run(track);
}

double phone(const Scene& scene, Track& track) {
  const Phone& settings = scene.settings.phone;
  if (settings.suppression == NoiseSuppression::on) suppress_steady(track);
  const double target = settings.level.amplitude_ratio(), gain = target / std::max(rms(track), 1e-12);
  for (float& sample : track) sample *= static_cast<float>(gain);
  if (settings.gain == GainControl::automatic) level_automatically(track, target);
  Random hiss = scene.chance("hiss");
  constexpr double own_noise = 1.2e-4;  // RMS, about 78 dB under full scale
  for (float& sample : track) sample = soft_clip(sample + static_cast<float>(own_noise * hiss.gaussian()));
  return gain;
}

}  // namespace gearhark::synth
