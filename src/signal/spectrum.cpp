#include "gearhark/signal/spectrum.hpp"

#include <algorithm>

#include "gearhark/signal/distributions.hpp"
#include "gearhark/signal/fft.hpp"

namespace gearhark {
namespace {

FrameFft plan_of(const Frames& frames) {
  return {window_weights(frames.window, frames.length), frame_points(frames)};
}

// Calls use(samples from the first frame of a batch on, index of that frame, frames in the batch).
template <class Use>
void for_each_batch(std::span<const float> samples, const Frames& frames, const Use& use) {
  const std::size_t count = frame_count(samples.size(), frames);
  for (std::size_t first = 0; first < count; first += FrameFft::batch)
    use(samples.subspan(first * frames.hop), first, std::min(FrameFft::batch, count - first));
}

}  // namespace

std::size_t frame_count(std::size_t samples, const Frames& frames) {
  return samples < frames.length ? 0 : (samples - frames.length) / frames.hop + 1;
}

std::size_t frame_points(const Frames& frames) {
  return frames.transform > 0 ? frames.transform : good_length(frames.length);
}

void for_each_frame(std::span<const float> samples, const Frames& frames, const FrameUse& use) {
  const FrameFft fft = plan_of(frames);
  std::vector<std::complex<float>> bins(FrameFft::batch * fft.bins());
  for_each_batch(samples, frames, [&](auto from, std::size_t first, std::size_t count) {
    const auto spectra = std::span(bins).first(count * fft.bins());
    fft.forward(from, frames.hop, count, spectra);
    for (std::size_t f = 0; f < count; ++f) use(first + f, spectra.subspan(f * fft.bins(), fft.bins()));
  });
}

PowerDensity average_spectrum(std::span<const float> samples, double rate_hz, const Frames& frames) {
  const FrameFft fft = plan_of(frames);
  const std::vector<float> weights = window_weights(frames.window, frames.length);
  std::vector<float> batch(fft.bins());
  std::vector<double> total(fft.bins(), 0.0);  // in double: an hour has too many frames to add up in float
  for_each_batch(samples, frames, [&](auto from, std::size_t, std::size_t count) {
    std::fill(batch.begin(), batch.end(), 0.0f);
    fft.add_power(from, frames.hop, count, batch);
    for (std::size_t k = 0; k < total.size(); ++k) total[k] += static_cast<double>(batch[k]);
  });

  double squares = 0.0;
  for (const float w : weights) squares += static_cast<double>(w) * static_cast<double>(w);
  PowerDensity out;
  out.bin_hz = rate_hz / static_cast<double>(fft.length());
  out.averages = frame_count(samples.size(), frames);
  out.freedom = welch_freedom(weights, frames.hop, out.averages);
  out.density.resize(total.size());
  const double scale =
      2.0 / (rate_hz * squares * static_cast<double>(std::max<std::size_t>(1, out.averages)));
  for (std::size_t k = 0; k < total.size(); ++k) out.density[k] = static_cast<float>(scale * total[k]);
  out.density.front() *= 0.5f;
  out.density.back() *= 0.5f;
  return out;
}

}  // namespace gearhark
