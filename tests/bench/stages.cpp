// Times the stages of one run, each by itself and in one thread, and prints them as JSON, in seconds of
// processor time: what else the machine does is left out. Each is run twice and the second counts, so that
// FFTW's planning does not.
//   bench_stages CAR.toml RECORDING [--baseline | --avx2]
// core: what tests/bench/usual.py and tuned.py do as well. pipeline: what `gearhark diagnose` does, in its
// stages.
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdio>
#include <cstring>
#include <ctime>
#include <numeric>

#include "gearhark/diagnosis/hearing.hpp"
#include "gearhark/diagnosis/ranking.hpp"
#include "gearhark/evidence/envelope_spectra.hpp"
#include "gearhark/evidence/healthy_orders.hpp"
#include "gearhark/evidence/order_spectrum.hpp"
#include "gearhark/recording/quality.hpp"
#include "gearhark/recording/recording.hpp"
#include "gearhark/signal/envelope.hpp"
#include "gearhark/signal/fft.hpp"
#include "gearhark/signal/resample.hpp"
#include "gearhark/signal/spectrum.hpp"
#include "gearhark/signal/statistics.hpp"
#include "gearhark/speed/tracking.hpp"
#include "gearhark/units/memory.hpp"
#include "wide/wide.hpp"

namespace {

using namespace gearhark;

bool first_stage = true;
double check = 0.0;  // of results, so that nothing is left out as unused

template <class Work>
auto timed(const char* name, Work work) {
  (void)work();
  const std::clock_t start = std::clock();
  auto result = work();
  const double took = static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
  std::printf("%s\n    \"%s\": %.6f", first_stage ? "" : ",", name, took);
  first_stage = false;
  return result;
}

void open_group(const char* name) {
  std::printf("%s\n  \"%s\": {", std::strcmp(name, "core") == 0 ? "{" : ",", name);
  first_stage = true;
}
void close_group() { std::printf("\n  }"); }

// Bins that stand out of the median of their neighbours.
std::vector<std::size_t> lines_in(const PowerDensity& spectrum) {
  const std::vector<float> usual = block_median_of_positive(spectrum.density, 101);
  std::vector<std::size_t> lines;
  for (std::size_t k = 1; k + 1 < usual.size(); ++k)
    if (spectrum.density[k] > 4.0f * usual[k] && spectrum.density[k] >= spectrum.density[k - 1] &&
        spectrum.density[k] > spectrum.density[k + 1])
      lines.push_back(k);
  return lines;
}

// The window, of 16 to 1024 samples, and the bin with the largest spectral kurtosis.
float liveliest_band(std::span<const float> samples) {
  constexpr std::size_t windows[] = {16, 32, 64, 128, 256, 512, 1024};
  float most = -1.0f;
  for (const auto& kurtosis : kurtogram(samples, windows))
    most = std::max(most, *std::max_element(kurtosis.begin() + 1, kurtosis.end() - 1));
  return most;
}

struct Band {
  double low, high;
};
constexpr Band bands[] = {{1000, 2000}, {2000, 3000}, {3000, 4500}, {4500, 6000}, {6000, 8000}};

float mean_of(std::span<const float> values) {
  float sums[8] = {};  // none of which waits for another
  for (std::size_t i = 0; i < values.size(); ++i) sums[i % 8] += values[i];
  return std::accumulate(std::begin(sums), std::end(sums), 0.0f) / static_cast<float>(values.size());
}

// Spectra of the envelopes of five bands, from slices of short transforms, an envelope value every 16
// samples.
float envelope_spectra(std::span<const float> samples, double rate_hz) {
  constexpr std::size_t window = 64, hop = 16;
  const std::size_t frames = frame_count(samples.size(), {window, hop, 0, Window::hann});
  const FrameFft fft(window_weights(Window::hann, window), window);
  std::vector<std::vector<float>> envelopes(std::size(bands), std::vector<float>(good_length(frames)));
  std::vector<float> power(fft.bins() * FrameFft::batch);
  for (std::size_t f = 0; f < frames; f += FrameFft::batch) {
    const std::size_t count = std::min(FrameFft::batch, frames - f);
    fft.lane_power(samples.subspan(f * hop), hop, count, power);
    for (std::size_t b = 0; b < std::size(bands); ++b) {
      const auto from = static_cast<std::size_t>(std::ceil(bands[b].low / rate_hz * window));
      const auto to = static_cast<std::size_t>(std::floor(bands[b].high / rate_hz * window));
      float sum[FrameFft::batch] = {};
      for (std::size_t k = from; k <= to; ++k)
        for (std::size_t i = 0; i < FrameFft::batch; ++i) sum[i] += power[k * FrameFft::batch + i];
      for (std::size_t i = 0; i < count; ++i) envelopes[b][f + i] = std::sqrt(sum[i]);
    }
  }
  const RealFft whole(envelopes[0].size());
  std::vector<float> envelope_power(whole.length() / 2 + 1);
  float total = 0.0f;
  for (auto& envelope : envelopes) {
    const auto heard = std::span(envelope).first(frames);
    const float mean = mean_of(heard);
    for (float& value : heard) value -= mean;
    whole.power(envelope, envelope_power);
    total += envelope_power[100];
  }
  return total;
}

// Resampled to equal angle of a shaft that speeds up by 3 %, and the power of its spectrum per turn.
std::vector<float> order_tracked(std::span<const float> samples, double rate_hz) {
  const double duration = static_cast<double>(samples.size()) / rate_hz;
  std::vector<float> even(good_length(samples.size()));
  std::vector<double> times(8192);  // at once
  const double step = 1.0 / static_cast<double>(even.size());
  for (std::size_t first = 0; first < even.size(); first += times.size()) {
    const auto piece = std::span(even).subspan(first, std::min(times.size(), even.size() - first));
    const double from = static_cast<double>(first) * step;
    for (int i = 0; i < static_cast<int>(piece.size());
         ++i) {  // whole numbers that registers of them can convert
      const double u = from + i * step;
      times[static_cast<std::size_t>(i)] = duration * u * (1.0 + 0.015 * (1.0 - u));
    }
    resample_at(samples, rate_hz, std::span(times).first(piece.size()), piece);
  }
  std::vector<float> power(even.size() / 2 + 1);
  RealFft(even.size()).power(even, power);
  return power;
}

Result<Recording> time_core(const char* file) {
  open_group("core");
  auto recording = timed("decode", [&] { return load_recording(file); });
  if (!recording) return recording;
  const std::span<const float> samples = recording->samples;
  const double rate = recording->sample_rate;
  const PowerDensity spectrum = timed("spectra", [&] {
    return average_spectrum(samples, rate, {8192, 4096, 0, Window::hann});
  });
  check += static_cast<double>(timed("lines", [&] { return lines_in(spectrum); }).size());
  check += static_cast<double>(timed("band search", [&] { return liveliest_band(samples); }));
  check += static_cast<double>(timed("envelopes", [&] { return envelope_spectra(samples, rate); }));
  check +=
      static_cast<double>(timed("order tracking", [&] { return order_tracked(samples, rate); }).at(4000));
  close_group();
  return recording;
}

void time_pipeline(const Car& car, Recording recording) {
  open_group("pipeline");
  RunSound sound;
  sound.run.gear = Gear{"3"};
  sound.run.speed.points = {{Seconds(0), Speed(65.0 / 3.6)}};
  sound.recording = std::move(recording);
  const auto& samples = sound.recording.samples;
  const double rate = sound.recording.sample_rate;
  const auto quality = timed("quality", [&] { return assess(sound.recording); });
  const auto tracking = timed("tracking", [&] { return track(samples, rate, car, sound.run); });
  constexpr double analysis_rate = 16000.0;
  const auto slow = timed("to 16 kHz", [&] { return resample(samples, rate, analysis_rate); });
  const auto bands_of =
      timed("band envelopes", [&] { return band_spectra(slow, tracking.wheel, nullptr, {}); });
  const auto tones =
      timed("order spectrum", [&] { return order_spectrum(slow, analysis_rate, tracking.wheel); });
  const DriveState state{sound.run.gear, sound.run.clutch};
  const auto rates = shaft_rates(car, state);
  for (const auto& group : timed("groups of bands", [&] {
         std::vector<EnvelopeSpectra> groups;
         for (const Events events : {Events::slipping, Events::locked})
           groups.push_back(grouped(bands_of, healthy_orders(car, state, *rates, Reference::wheel, events),
                                    lowest_order(events)));
         return groups;
       }))
    check += group.turns;
  check += tones.turns + bands_of.mean_rate;
  const std::vector<HeardRun> heard = {listen_to(car, sound.run, samples, rate, quality.bandwidth, tracking)};
  const auto candidates = timed("evidence", [&] { return gather(car, heard); });
  const auto ranking = timed("ranking", [&] { return rank(car, candidates); });
  check += ranking.no_fault.value();
  Hearing hearing = hear(car, {sound});
  const auto diagnosis = timed("lines shown, next run", [&] { return diagnosis_of(car, hearing); });
  check += diagnosis.no_fault.value();
  close_group();
}

}  // namespace

int main(int count, char** words) {
  if (count < 3) return 2;
  keep_freed_memory();  // as the program does
  if (count > 3 && std::strcmp(words[3], "--baseline") == 0) set_width(Width::baseline);
  if (count > 3 && std::strcmp(words[3], "--avx2") == 0) set_width(Width::avx2);
  const auto car = load_car(words[1]);
  auto recording = time_core(words[2]);
  if (!car || !recording) return 1;
  time_pipeline(*car, *std::move(recording));
  std::printf(",\n  \"check\": %.6g\n}\n", check);
  return 0;
}
