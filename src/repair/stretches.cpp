#include "stretches.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>

#include "gearhark/evidence/angle_grid.hpp"
#include "gearhark/signal/envelope.hpp"
#include "gearhark/signal/fft.hpp"
#include "gearhark/signal/resample.hpp"
#include "gearhark/signal/spectrum.hpp"
#include "gearhark/signal/statistics.hpp"

namespace gearhark::repair {
namespace {

// Impacts that slip lose nothing in short stretches; tones locked to a shaft gain by long ones.
constexpr std::size_t band_turns = 16, sound_turns = 48;
constexpr std::array<std::size_t, 12> good_turns = {48, 40, 36, 32, 27, 24, 20, 18, 16, 12, 10, 8};
constexpr double least_in_a_run = 2.5;      // stretches side by side
constexpr std::size_t band_points = 640;    // per turn: orders up to 260 are kept
constexpr std::size_t sound_points = 1600;  // orders up to 660
constexpr double floor_seconds = 1.5, floor_share = 0.3;
constexpr float highest_over_floor = 150.0f;  // a bump is worth no more
// Half width of a line, of its order: what slip, or the shaft angle's error, leaves.
constexpr double band_smear = 0.003, sound_smear = 0.0006;

// The level below which a share of the values about each moment lies, one value per sample.
std::vector<float> running_floor(std::span<const float> power, double rate_hz) {
  const auto width = static_cast<std::size_t>(floor_seconds * rate_hz), hop = width / 2;
  std::vector<float> at_hops;
  for (std::size_t from = 0; from + width <= power.size() || at_hops.empty(); from += hop)
    at_hops.push_back(
        static_cast<float>(quantile(power.subspan(from, std::min(width, power.size() - from)), floor_share)));
  std::vector<float> out(power.size());
  for (std::size_t i = 0; i < out.size(); ++i) {
    const double position =
        std::clamp((static_cast<double>(i) - 0.5 * static_cast<double>(width)) / static_cast<double>(hop),
                   0.0, static_cast<double>(at_hops.size() - 1));
    const auto left = static_cast<std::size_t>(position);
    const auto right = std::min(left + 1, at_hops.size() - 1);
    const auto part = static_cast<float>(position - static_cast<double>(left));
    out[i] = at_hops[left] + part * (at_hops[right] - at_hops[left]);
  }
  return out;
}

double mean_db(std::span<const float> power) {
  double sum = 0.0;
  for (const float p : power) sum += static_cast<double>(p);
  return 10.0 * std::log10(sum / static_cast<double>(std::max<std::size_t>(power.size(), 1)) + 1e-20);
}

// What the stretches are cut from, with the power that its 1 stands for.
struct Levelled {
  std::vector<float> signal;
  double reference_db = 0.0;
};

Levelled band_power(std::span<const float> samples, double rate_hz, Band band) {
  std::vector<float> power = band_envelope(samples, rate_hz, band.low, band.high);
  for (float& value : power) value *= value;
  const std::vector<float> floor = running_floor(power, rate_hz);
  for (std::size_t i = 0; i < power.size(); ++i)
    power[i] = std::min(power[i] / (floor[i] + 1e-20f), highest_over_floor);
  return {std::move(power), mean_db(floor)};
}

Levelled sound_itself(std::span<const float> samples, double rate_hz) {
  std::vector<float> power(samples.size());
  for (std::size_t i = 0; i < samples.size(); ++i) power[i] = samples[i] * samples[i];
  const std::vector<float> level = moving_average(power, static_cast<std::size_t>(rate_hz));
  Levelled out{std::vector<float>(samples.size()), mean_db(level)};
  for (std::size_t i = 0; i < samples.size(); ++i) out.signal[i] = samples[i] / std::sqrt(level[i] + 1e-20f);
  return out;
}

struct LineWindow {
  std::size_t from, to, left, right;  // line [from, to); flanks [left, from - 1) and [to + 1, right)
};

std::optional<LineWindow> window_at(double order, const Stretches& s) {
  const double centre = order * s.turns, half = std::max(1.5, s.smear * centre);
  const auto from = static_cast<std::ptrdiff_t>(std::lround(centre - half)),
             to = static_cast<std::ptrdiff_t>(std::lround(centre + half)) + 1;
  const std::ptrdiff_t flank = std::max<std::ptrdiff_t>(6, to - from), left = from - 1 - flank,
                       right = to + 1 + flank;
  if (left < 2 || right >= static_cast<std::ptrdiff_t>(s.mean.size())) return std::nullopt;
  return LineWindow{static_cast<std::size_t>(from), static_cast<std::size_t>(to),
                    static_cast<std::size_t>(left), static_cast<std::size_t>(right)};
}

// Flank bins of which none holds another line.
std::vector<std::size_t> clear_flank(const Stretches& s, const LineWindow& w) {
  std::vector<std::size_t> bins;
  std::vector<float> values;
  for (std::size_t k = w.left; k < w.right; ++k)
    if (k + 1 < w.from || k > w.to) {
      bins.push_back(k);
      values.push_back(s.mean[k]);
    }
  const double most = 2.0 * median(values);
  std::erase_if(bins, [&](std::size_t k) { return static_cast<double>(s.mean[k]) > most; });
  return bins;
}

double mean_at(const std::vector<float>& power, const std::vector<std::size_t>& bins) {
  double sum = 0.0;
  for (const std::size_t k : bins) sum += static_cast<double>(power[k]);
  return sum / static_cast<double>(std::max<std::size_t>(bins.size(), 1));
}

}  // namespace

std::size_t turns_of_a_stretch(bool in_band, double turned) {
  const std::size_t usual = in_band ? band_turns : sound_turns;
  const auto fits = std::find_if(good_turns.begin(), good_turns.end(), [&](std::size_t turns) {
    return turns <= usual && least_in_a_run * static_cast<double>(turns) <= turned;
  });
  return fits == good_turns.end() ? good_turns.back() : *fits;
}

Stretches stretches_of(std::span<const float> samples, double rate_hz, const AngleTrack& shaft,
                       std::optional<Band> band, std::size_t turns) {
  const Levelled levelled = band ? band_power(samples, rate_hz, *band) : sound_itself(samples, rate_hz);
  const std::size_t per_turn = band ? band_points : sound_points, length = turns * per_turn;
  const double first = shaft.at(0.0), last = shaft.at(static_cast<double>(samples.size() - 1) / rate_hz);
  const auto points = static_cast<std::size_t>((last - first) * static_cast<double>(per_turn));
  const std::vector<float> by_angle =
      by_equal_angle(levelled.signal, rate_hz, shaft, first, 1.0 / static_cast<double>(per_turn), points);
  Stretches out;
  out.turns = static_cast<double>(turns);
  out.smear = band ? band_smear : sound_smear;
  out.reference_db = levelled.reference_db;
  out.mean.assign(length / 2 + 1, 0.0f);
  for_each_frame(by_angle, {length, length / 2, length, gearhark::Window::hann},
                 [&](std::size_t, std::span<const std::complex<float>> bins) {
                   std::vector<float>& power = out.power.emplace_back(bins.size());
                   for (std::size_t k = 0; k < bins.size(); ++k) power[k] = std::norm(bins[k]);
                 });
  for (const auto& power : out.power)
    for (std::size_t k = 0; k < power.size(); ++k)
      out.mean[k] += power[k] / static_cast<float>(out.power.size());
  return out;
}

double LineSum::mean() const {
  double sum = 0.0;
  for (const double v : per_stretch) sum += v;
  return per_stretch.empty() ? 0.0 : sum / static_cast<double>(per_stretch.size());
}

std::vector<double> background_at(const Stretches& stretches, std::span<const double> orders) {
  std::vector<double> out;
  for (const double order : orders) {
    const auto window = window_at(order, stretches);
    out.push_back(window ? mean_at(stretches.mean, clear_flank(stretches, *window)) : 0.0);
  }
  return out;
}

LineSum line_sum(const Stretches& stretches, std::span<const double> orders,
                 std::span<const double> background) {
  LineSum out{std::vector<double>(stretches.power.size(), 0.0)};
  for (std::size_t line = 0; line < orders.size(); ++line) {
    const auto w = window_at(orders[line], stretches);
    if (!w || background[line] <= 0.0) continue;
    const auto flank = clear_flank(stretches, *w);
    for (std::size_t s = 0; s < stretches.power.size(); ++s) {
      const double beside = mean_at(stretches.power[s], flank);
      double sum = 0.0;
      for (std::size_t k = w->from; k < w->to; ++k)
        sum += static_cast<double>(stretches.power[s][k]) - beside;
      out.per_stretch[s] += sum / background[line];
    }
  }
  return out;
}

std::vector<double> floors(std::span<const float> samples, double rate_hz, Hertz bandwidth) {
  constexpr std::size_t length = 2048;
  const Frames frames{length, length / 2, length, gearhark::Window::hann};
  std::vector<std::vector<float>> by_band;
  std::vector<std::pair<std::size_t, std::size_t>> bins_of;
  for (double centre = 200.0; centre < 7000.0; centre *= std::exp2(1.0 / 3.0)) {
    const double bin = static_cast<double>(length) / rate_hz;
    bins_of.emplace_back(static_cast<std::size_t>(centre * std::exp2(-1.0 / 6.0) * bin),
                         static_cast<std::size_t>(centre * std::exp2(1.0 / 6.0) * bin) + 1);
  }
  by_band.resize(bins_of.size());
  for_each_frame(samples, frames, [&](std::size_t, std::span<const std::complex<float>> bins) {
    for (std::size_t b = 0; b < bins_of.size(); ++b) {
      std::vector<float> power;
      for (std::size_t k = bins_of[b].first; k < std::min(bins_of[b].second, bins.size()); ++k)
        power.push_back(std::norm(bins[k]));
      // The median over the band passes tones by.
      by_band[b].push_back(static_cast<float>(median(power)));
    }
  });
  std::vector<double> out;
  double top = 200.0 * std::exp2(1.0 / 6.0);
  for (const auto& levels : by_band) {
    const bool heard = top < bandwidth.value() && !levels.empty();
    out.push_back(heard ? 10.0 * std::log10(quantile(levels, 0.3) + 1e-20)
                        : std::numeric_limits<double>::quiet_NaN());
    top *= std::exp2(1.0 / 3.0);
  }
  return out;
}

}  // namespace gearhark::repair
