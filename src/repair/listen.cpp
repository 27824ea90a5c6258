#include "gearhark/repair/listen.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <tuple>

#include "gearhark/diagnosis/ranking.hpp"
#include "gearhark/signal/fft.hpp"
#include "gearhark/signal/statistics.hpp"

namespace gearhark {
namespace {

constexpr double level_rms = 0.1, highest_peak = 0.98;
constexpr double edge_share = 0.1;  // of the band's width
// A tone's strength and phase change no faster; notches are a few hertz wide.
constexpr double notch_seconds = 0.35;
constexpr double beat_seconds = 0.5;  // slip shifts a beat no faster
constexpr float full_depth = 4.0f;    // an envelope whose beat is half its mean is fully brought out
constexpr double lowest_hz = 60.0, highest_hz = 7600.0;
constexpr double tone_margin = 1.12;  // a band about tones reaches this far beyond them
constexpr int notched_harmonics = 12;

// 1 inside the band, 0 beyond its edges.
double pass(double hz, double low, double high) {
  const double edge = edge_share * (high - low);
  const double inside = std::min(hz - (low - edge), (high + edge) - hz) / edge;
  if (inside <= 0.0) return 0.0;
  return inside >= 1.0 ? 1.0 : 0.5 - 0.5 * std::cos(std::numbers::pi * inside);
}

std::vector<float> band_passed(std::span<const float> samples, double rate_hz, double low, double high) {
  const std::size_t points = good_length(samples.size() + 4096);
  std::vector<float> padded(points, 0.0f);
  std::copy(samples.begin(), samples.end(), padded.begin());
  std::vector<std::complex<float>> bins(points / 2 + 1);
  const RealFft fft(points);
  fft.forward(padded, bins);
  for (std::size_t k = 0; k < bins.size(); ++k)
    bins[k] *=
        static_cast<float>(pass(static_cast<double>(k) * rate_hz / static_cast<double>(points), low, high));
  fft.inverse(bins, padded);
  padded.resize(samples.size());
  return padded;
}

std::vector<double> angles(std::size_t count, double rate_hz, const AngleTrack& shaft) {
  std::vector<double> angle(count);
  for (std::size_t i = 0; i < count; ++i) angle[i] = shaft.at(static_cast<double>(i) / rate_hz);
  return angle;
}

// Unit vectors that turn with an order. Over a hundred samples a shaft turns evenly to a hundred-thousandth
// of a turn: exact at the start of each such piece, and turned on in eight strands between.
struct Turning {
  std::vector<float> along, across;
};
void turn_with(std::span<const double> angle, double order, Turning& out) {
  constexpr std::size_t piece = 128, strands = 8;
  out.along.resize((angle.size() + piece - 1) / piece * piece);
  out.across.resize(out.along.size());
  for (std::size_t from = 0; from < angle.size(); from += piece) {
    const std::size_t size = std::min(piece, angle.size() - from), last = size - 1;
    const double start = order * angle[from];
    const double step = last == 0 ? 0.0 : (order * angle[from + last] - start) / static_cast<double>(last);
    const auto unit = [](double turns) { return std::polar(1.0, 2.0 * std::numbers::pi * turns); };
    const std::complex<double> first = unit(start - std::floor(start)), on = unit(step);
    std::array<float, strands> re{}, im{};
    double x = first.real(), y = first.imag();
    for (std::size_t k = 0; k < strands; ++k) {
      re[k] = static_cast<float>(x);
      im[k] = static_cast<float>(y);
      const double next = x * on.real() - y * on.imag();
      y = x * on.imag() + y * on.real();
      x = next;
    }
    const std::complex<double> by_strands = unit(step * static_cast<double>(strands));
    const auto c = static_cast<float>(by_strands.real()), s = static_cast<float>(by_strands.imag());
    for (std::size_t i = 0; i < piece; i += strands) {
      float *along = out.along.data() + from + i, *across = out.across.data() + from + i;
      for (std::size_t k = 0; k < strands; ++k) {
        along[k] = re[k];
        across[k] = im[k];
        const float next = re[k] * c - im[k] * s;
        im[k] = re[k] * s + im[k] * c;
        re[k] = next;
      }
    }
  }
}

// Slow mean: two running means of this length, over blocks a few hundredths of it long, straight lines in
// between.
std::vector<float> slow_mean(const std::vector<float>& values, double seconds, double rate_hz) {
  constexpr double blocks_in_length = 150.0;
  const auto block = std::max<std::size_t>(1, static_cast<std::size_t>(seconds * rate_hz / blocks_in_length));
  const std::size_t count = (values.size() + block - 1) / block;
  std::vector<float> means(count);
  for (std::size_t b = 0; b < count; ++b) {
    const std::size_t from = b * block, to = std::min(values.size(), from + block);
    float sum = 0.0f;
    for (std::size_t i = from; i < to; ++i) sum += values[i];
    means[b] = sum / static_cast<float>(to - from);
  }
  const auto width = static_cast<std::size_t>(seconds * rate_hz / static_cast<double>(block));
  means = moving_average(moving_average(means, width), width);
  std::vector<float> out(values.size());
  for (std::size_t i = 0; i < out.size(); ++i) {
    const float at = std::clamp((static_cast<float>(i % block) + 0.5f) / static_cast<float>(block) - 0.5f +
                                    static_cast<float>(i / block),
                                0.0f, static_cast<float>(count - 1));
    const auto left = static_cast<std::size_t>(at), right = std::min(left + 1, count - 1);
    out[i] = means[left] + (at - static_cast<float>(left)) * (means[right] - means[left]);
  }
  return out;
}

// Values that stand for the middles of blocks, straight lines in between and level beyond the ends.
struct BlockMeans {
  std::size_t block;
  std::vector<float> means;
  // Value at sample i of block b is first + slope x i in either half of the block.
  struct Line {
    float first, slope;
  };
  [[nodiscard]] Line line(std::size_t b, std::size_t half) const {
    const std::size_t left = half == 0 ? b - std::min<std::size_t>(b, 1) : b;
    const std::size_t right = half == 0 ? b : std::min(b + 1, means.size() - 1);
    const float slope = (means[right] - means[left]) / static_cast<float>(block);
    return {means[b] + slope * (0.5f - 0.5f * static_cast<float>(block)), slope};
  }
};

// A tone locked to the shaft: turned back by its own angle it stands still, whatever the speed did, and slow
// means over it hold its strength and phase: two running means over blocks a few hundredths of their length.
// What they hold is taken away; the rest stays as it was.
void take_tone_out(std::vector<float>& samples, std::span<const double> angle, double rate_hz, double order) {
  constexpr double blocks_in_length = 150.0;
  const auto block =
      std::max<std::size_t>(1, static_cast<std::size_t>(notch_seconds * rate_hz / blocks_in_length));
  const std::size_t count = (samples.size() + block - 1) / block;
  const auto size_of = [&](std::size_t b) { return std::min(block, samples.size() - b * block); };
  BlockMeans real{block, std::vector<float>(count)}, imaginary = real;
  Turning turning;
  for (std::size_t b = 0; b < count; ++b) {
    const std::size_t size = size_of(b);
    turn_with(angle.subspan(b * block, size), order, turning);
    const float* x = samples.data() + b * block;
    float re = 0.0f, im = 0.0f;
    for (std::size_t i = 0; i < size; ++i) {
      re += x[i] * turning.along[i];
      im += x[i] * turning.across[i];
    }
    real.means[b] = re / static_cast<float>(size);
    imaginary.means[b] = im / static_cast<float>(size);
  }
  const auto width = static_cast<std::size_t>(notch_seconds * rate_hz / static_cast<double>(block));
  for (auto* part : {&real, &imaginary})
    part->means = moving_average(moving_average(part->means, width), width);
  for (std::size_t b = 0; b < count; ++b) {
    const std::size_t size = size_of(b);
    turn_with(angle.subspan(b * block, size), order, turning);
    float* x = samples.data() + b * block;
    for (std::size_t half = 0; half < 2; ++half) {
      const auto re = real.line(b, half), im = imaginary.line(b, half);
      const std::size_t from = half == 0 ? 0 : std::min(size, block / 2),
                        to = half == 0 ? std::min(size, block / 2) : size;
      for (std::size_t i = from; i < to; ++i) {
        const auto at = static_cast<float>(i);
        x[i] -= 2.0f * ((re.first + re.slope * at) * turning.along[i] +
                        (im.first + im.slope * at) * turning.across[i]);
      }
    }
  }
}

std::vector<float> without_tones(std::span<const float> samples, double rate_hz, const AngleTrack& shaft,
                                 std::span<const double> orders) {
  const auto angle = angles(samples.size(), rate_hz, shaft);
  std::vector<float> out(samples.begin(), samples.end());
  for (const double order : orders) take_tone_out(out, angle, rate_hz, order);
  return out;
}

struct Range {
  double low = 1e9, high = 0.0;
  void take(double hz) {
    low = std::min(low, hz);
    high = std::max(high, hz);
  }
};

// Where the fault sounds: the carrier band of events; from the lowest to the highest of its tones.
std::pair<Hertz, Hertz> band_of(const Candidate& candidate, const HeardRun& run, std::size_t r) {
  if (candidate.kind == EvidenceKind::events) return {candidate.band_low, candidate.band_high};
  const double rate = run.wheel_rate.value(), base = candidate.fundamental[r];
  Range range;
  if (candidate.kind == EvidenceKind::tyre_orders) {
    range.take((0.75 * base - 2.0) * rate);
    range.take((1.25 * base + 2.0) * rate);
  } else {
    range.take((base - 2.0 * candidate.modulation[r]) * rate);
    range.take((3.0 * base + 2.0 * candidate.modulation[r]) * rate);
  }
  return {Hertz(std::max(lowest_hz, range.low / tone_margin)),
          Hertz(std::min(highest_hz, range.high * tone_margin))};
}

// Everything that a sound car makes in that band, but for the suspect's own lines.
std::vector<double> healthy_tones(const Car& car, const HeardRun& run, const std::string& part, Hertz low,
                                  Hertz high) {
  const double highest = high.value() * 1.2 / run.wheel_rate.value();
  std::vector<double> orders;
  const auto take = [&](double base, double step) {
    for (double order = base; base > 0.0 && order <= highest; order += step) orders.push_back(order);
  };
  const auto engine = run.rates.find("engine");
  if (engine != run.rates.end() && engine->second.road_bound()) {
    const double turn = std::abs(engine->second.wheel);
    take(0.5 * turn, 0.5 * turn);
  }
  for (const Line& line : predicted_lines(car, run.state, run.rates)) {
    if (!line.sounds_healthy || line.part == part || line.harmonic != 1 || line.sideband != 0) continue;
    if (!line.rate.road_bound() || line.kind != LineKind::mesh) continue;
    const double mesh = std::abs(line.rate.wheel);
    for (int h = 1; h <= notched_harmonics && h * mesh <= highest; ++h) orders.push_back(h * mesh);
  }
  const double lowest = low.value() / 1.2 / run.wheel_rate.value();
  std::erase_if(orders, [&](double order) { return order < lowest; });
  std::sort(orders.begin(), orders.end());
  return orders;
}

Error usage(const std::string& sentence) { return {sentence, ErrorKind::usage}; }

struct Choice {
  const RankedPart* ranked = nullptr;
  const Candidate* candidate = nullptr;
};

Result<Choice> choose(const Car& car, const Hearing& hearing, const Ranking& ranking,
                      const ListenSettings& asked) {
  if (!asked.part.empty() && !car.part(asked.part)) return no_such_part(car, asked.part);
  Choice out;
  for (const RankedPart& p : ranking.parts) {
    const auto& twins = p.cannot_be_told_from;
    if (asked.part.empty() || p.part == asked.part ||
        std::find(twins.begin(), twins.end(), asked.part) != twins.end()) {
      out = {&p, &hearing.candidates[p.best]};
      break;
    }
  }
  if (!out.ranked)
    return Error{asked.part.empty()
                     ? std::string("in no run could the speed be found, so nothing can be picked out")
                     : fmt::format("\"{}\" does not turn in any run whose speed could be found", asked.part)};
  if (!asked.fault || out.candidate->fault == *asked.fault) return out;
  for (const Candidate& c : hearing.candidates)
    if (!c.healthy && c.part == out.ranked->part && c.fault == *asked.fault) return Choice{out.ranked, &c};
  return usage(fmt::format("\"{}\" can't have the fault \"{}\"", out.ranked->part, to_text(*asked.fault)));
}

// Place among the heard runs.
Result<std::size_t> run_to_use(const Hearing& hearing, const Candidate& candidate,
                               std::optional<std::size_t> asked, std::size_t given) {
  if (asked && *asked >= given)
    return usage(fmt::format("there is no run {}; the road test has {}", *asked + 1, given));
  std::optional<std::size_t> best;
  for (std::size_t r = 0; r < hearing.heard.size(); ++r) {
    if (asked && static_cast<std::size_t>(hearing.index[r]) != *asked) continue;
    if (candidate.fundamental[r] <= 0.0) continue;
    if (!best || candidate.visibility[r] > candidate.visibility[*best]) best = r;
  }
  if (best) return *best;
  return Error{fmt::format("\"{}\" does not turn{}, or the speed could not be found there", candidate.part,
                           asked ? fmt::format(" in run {}", *asked + 1) : std::string(" in any run"))};
}

struct Beat {
  const AngleTrack* shaft = nullptr;
  double per_turn = 0.0;
  Hertz mean;
};

Result<Beat> beat_of(const Candidate& candidate, const HeardRun& run, std::size_t r,
                     const Tracking& tracking) {
  if (candidate.kind != EvidenceKind::events)
    return usage(fmt::format("\"{}\" makes tones, not knocks: there is no beat to bring out",
                             to_text(candidate.fault)));
  const auto followed = followed_in(candidate, run, r);
  if (!followed) return Error{fmt::format("\"{}\" does not turn in that run", candidate.part)};
  const bool by_engine = followed->place.engine_bound;
  const double per_turn = candidate.fundamental[r] * (1.0 + candidate.slip);
  return Beat{by_engine ? &*tracking.engine : &tracking.wheel, per_turn,
              Order(per_turn) * followed->place.reference_rate};
}

// The shaft from a later moment on.
AngleTrack from_then(const AngleTrack& shaft, double from_s, double duration_s) {
  AngleTrack out;
  out.step_s = shaft.step_s;
  for (double t = 0.0; t <= duration_s + shaft.step_s; t += shaft.step_s)
    out.turns.push_back(shaft.at(from_s + t));
  return out;
}

// Where only a part is wanted, the rest is not worked on but for a margin, in which filters settle.
std::vector<float> band_of_part(const Recording& recording, const std::optional<Stretch>& part,
                                const Listening& heard) {
  const std::span<const float> all(recording.samples);
  if (!part)
    return band_alone(all, heard.rate_hz, heard.low, heard.high, heard.tracking.wheel, heard.notched);
  const auto place = [&](double seconds) {
    return std::min(all.size(), static_cast<std::size_t>(std::max(0.0, seconds) * heard.rate_hz));
  };
  const double margin = 2.0 * notch_seconds;
  const std::size_t first = place(part->from.value()), last = std::max(first, place(part->to.value()));
  const std::size_t from = place(part->from.value() - margin), to = place(part->to.value() + margin);
  const double from_s = static_cast<double>(from) / heard.rate_hz;
  const AngleTrack shaft =
      from_then(heard.tracking.wheel, from_s, static_cast<double>(to - from) / heard.rate_hz);
  const auto wide =
      band_alone(all.subspan(from, to - from), heard.rate_hz, heard.low, heard.high, shaft, heard.notched);
  return {wide.begin() + static_cast<std::ptrdiff_t>(first - from),
          wide.begin() + static_cast<std::ptrdiff_t>(last - from)};
}

}  // namespace

std::vector<float> band_alone(std::span<const float> samples, double rate_hz, Hertz low, Hertz high,
                              const AngleTrack& shaft, std::span<const double> notched) {
  // The band first: a loud tone outside it would leak through a notch's short ends.
  const auto band = band_passed(samples, rate_hz, low.value(), std::min(high.value(), 0.45 * rate_hz));
  return without_tones(band, rate_hz, shaft, notched);
}

std::vector<float> beat_brought_out(std::vector<float> samples, double rate_hz, const AngleTrack& shaft,
                                    double beats) {
  Turning turning;
  turn_with(angles(samples.size(), rate_hz, shaft), beats, turning);
  const auto& [along, across] = turning;
  std::vector<float> power(samples.size()), real(samples.size()), imaginary(samples.size());
  for (std::size_t i = 0; i < samples.size(); ++i) {
    power[i] = samples[i] * samples[i];
    real[i] = power[i] * along[i];
    imaginary[i] = power[i] * across[i];
  }
  for (auto* part : {&power, &real, &imaginary}) *part = slow_mean(*part, beat_seconds, rate_hz);
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const float size = std::hypot(real[i], imaginary[i]);
    if (size <= 0.0f) continue;
    const float in_step = 0.5f + 0.5f * (real[i] * along[i] + imaginary[i] * across[i]) / size;
    const float depth = std::min(1.0f, full_depth * size / power[i]);
    samples[i] *= 1.0f - depth + depth * in_step * in_step;
  }
  return samples;
}

std::vector<float> gain_matched(std::vector<float> samples) {
  double sum = 0.0, peak = 0.0;
  for (const float s : samples) {
    sum += static_cast<double>(s) * static_cast<double>(s);
    peak = std::max(peak, std::abs(static_cast<double>(s)));
  }
  if (peak <= 0.0) return samples;
  const double rms = std::sqrt(sum / static_cast<double>(samples.size()));
  const auto gain = static_cast<float>(std::min(level_rms / rms, highest_peak / peak));
  for (float& s : samples) s *= gain;
  return samples;
}

Result<Listening> listen(const Car& car, const std::vector<RunSound>& sounds,
                         const ListenSettings& settings) {
  return listen(car, sounds, hear(car, sounds), settings);
}

Result<Listening> listen(const Car& car, const std::vector<RunSound>& sounds, const Hearing& hearing,
                         const ListenSettings& settings) {
  const Ranking ranking = rank(car, hearing.candidates);
  const auto choice = choose(car, hearing, ranking, settings);
  if (!choice) return choice.error();
  const Candidate& candidate = *choice->candidate;
  const auto place = run_to_use(hearing, candidate, settings.run, sounds.size());
  if (!place) return place.error();
  Listening out;
  out.part = settings.part.empty() ? candidate.part : settings.part;
  if (const Part* part = car.part(out.part)) out.name = part->name;
  out.fault = candidate.fault;
  out.probability = choice->ranked->probability;
  out.run = static_cast<std::size_t>(hearing.index[*place]);
  std::tie(out.low, out.high) = band_of(candidate, hearing.heard[*place], *place);
  out.tracking = hearing.runs[out.run].tracking;
  out.notched = healthy_tones(car, hearing.heard[*place], candidate.part, out.low, out.high);
  const Recording& recording = hearing.sound_of(out.run, sounds);
  out.rate_hz = recording.sample_rate;
  std::vector<float> band = band_of_part(recording, settings.stretch, out);
  if (settings.emphasis == Emphasis::beat) {
    const auto beat = beat_of(candidate, hearing.heard[*place], *place, out.tracking);
    if (!beat) return beat.error();
    out.beat = beat->mean;
    const double from_s = settings.stretch ? settings.stretch->from.value() : 0.0;
    const AngleTrack shaft = from_then(*beat->shaft, from_s, static_cast<double>(band.size()) / out.rate_hz);
    band = beat_brought_out(std::move(band), out.rate_hz, shaft, beat->per_turn);
  }
  out.samples = gain_matched(std::move(band));
  out.cautions = {
      "Turn the volume down before playing: the band was made louder than it was in the car.",
      "Hearing a noise alone proves nothing about the part; hands and eyes come before any repair or drive."};
  if (const auto& part = hearing.runs[out.run].excerpt; part && !settings.stretch)
    out.cautions.push_back(
        fmt::format("Of this long run the part from {:.0f} to {:.0f} s is heard, where its speed is surest.",
                    part->from.value(), part->to.value()));
  return out;
}

}  // namespace gearhark
