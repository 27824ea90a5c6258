// Turning sound into sound at constant shaft rate: the same angle passes per sample.
#pragma once

#include <span>
#include <vector>

#include "gearhark/speed/angle_track.hpp"

namespace gearhark::tracking {

struct Sound {
  std::vector<float> samples;
  double rate = 0.0;  // Hz
  [[nodiscard]] double duration() const { return static_cast<double>(samples.size()) / rate; }
};

// Low-pass and keep every n-th sample so that the rate is the lowest at or above 8 kHz.
Sound decimate_for_tracking(std::span<const float> samples, double sample_rate);

// Flat time tau = angle / mean rate: as long as the recording, but the shaft turns evenly in it.
struct FlatSound {
  std::vector<float> samples;
  double rate = 0.0;       // samples per flat second
  double mean_rate = 0.0;  // turns per flat second, everywhere
  AngleTrack track;        // what it was flattened by
  [[nodiscard]] double duration() const { return static_cast<double>(samples.size()) / rate; }
  // Frequency in the flat sound over frequency in the recording, at flat time tau.
  [[nodiscard]] double stretch_at(double tau, double near_seconds) const;
};

FlatSound flatten(const Sound& sound, const AngleTrack& track);
// The same sound, flattened by a track that is everywhere the same multiple of the one it was flattened by.
FlatSound in_step_with(const FlatSound& flat, const AngleTrack& track);
// Back to recording time.
Sound unflattened(const FlatSound& flat);

// The track after an angle error e (turns, on a uniform grid of flat time, clamped outside) was found in its
// flat sound.
AngleTrack corrected(const FlatSound& flat, std::span<const double> error, double error_step_s);

}  // namespace gearhark::tracking
