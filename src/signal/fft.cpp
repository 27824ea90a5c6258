#include "gearhark/signal/fft.hpp"

#include <kissfft/kiss_fftr.h>

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <numbers>

#include "good_length.hpp"
#include "wide/wide.hpp"

namespace gearhark {
namespace {

using Bin = std::complex<float>;

// From here on two passes over memory beat one long transform by KissFFT.
constexpr std::size_t long_transform = 16384;

// std::complex<float> and KissFFT's and the loops' numbers are all two floats, real part first.
const float* floats(std::span<const Bin> bins) { return reinterpret_cast<const float*>(bins.data()); }
float* floats(std::span<Bin> bins) { return reinterpret_cast<float*>(bins.data()); }

Bin turn(double part) {
  const double angle = -2.0 * std::numbers::pi * part;
  return {static_cast<float>(std::cos(angle)), static_cast<float>(std::sin(angle))};
}

// exp(-2 pi i k / length) for k = 0..count-1.
std::vector<Bin> turns(std::size_t length, std::size_t count) {
  std::vector<Bin> out(count);
  for (std::size_t k = 0; k < count; ++k) out[k] = turn(static_cast<double>(k) / static_cast<double>(length));
  return out;
}

// The factor of a long length nearest its square root that leaves two multiples of 8, not too small; 0 where
// there is none.
std::size_t rows_of(std::size_t length) {
  if (length < long_transform || length % 64 != 0) return 0;
  const auto root = static_cast<std::size_t>(std::sqrt(static_cast<double>(length)));
  for (std::size_t rows = root / 8 * 8; rows >= frame_lanes; rows -= 8)
    if (length % rows == 0 && length / rows % 8 == 0) return rows;
  return 0;
}

class LongFft {
 public:
  LongFft(std::size_t length, std::size_t rows)
      : length_(length),
        column_(rows),
        row_(length / rows),
        a_(two_pass_blocks * std::max(rows, row_.length)),
        b_(a_.size()),
        lane_turns_(rows),
        between_(std::make_unique_for_overwrite<LaneLine[]>(lines_between(rows, row_.length))) {
    for (std::size_t k = 0; k < rows; ++k)
      for (std::size_t l = 0; l < frame_lanes; ++l) {
        const Bin value = turn(static_cast<double>(l * k) / static_cast<double>(length));
        lane_turns_[k].values[l] = value.real();
        lane_turns_[k].values[frame_lanes + l] = value.imag();
      }
  }
  void run(const float* in, float* out, bool inverse) { loops_.two_pass(plan(inverse), in, between(), out); }

 protected:
  [[nodiscard]] std::size_t rows() const { return column_.length; }
  [[nodiscard]] std::size_t columns() const { return row_.length; }
  TwoPassPlan plan(bool inverse) {
    return {column_view_,         row_view_,           gearhark::floats(lane_turns_), length_, inverse,
            gearhark::floats(a_), gearhark::floats(b_)};
  }
  float* between() { return between_[0].values; }
  const Wide& loops_ = wide();

 private:
  std::size_t length_;
  LanePlan column_, row_;
  LanePlanView column_view_{column_}, row_view_{row_};
  Lines a_, b_, lane_turns_;
  std::unique_ptr<LaneLine[]> between_;
};

// Of twice `half` real numbers.
class LongRealFft : LongFft {
 public:
  LongRealFft(std::size_t half, std::size_t rows)
      : LongFft(half, rows), row_turns_(2 * rows), column_turns_(turns(2 * columns(), columns())) {
    for (std::size_t r = 0; r < rows; ++r) {
      const Bin value = turn(static_cast<double>(r) / static_cast<double>(2 * half));
      row_turns_[r] = value.real();
      row_turns_[rows + r] = value.imag();
    }
  }
  void forward(const float* time, float* bins) {
    const TwoPassPlan half = plan(false);
    loops_.real_two_pass(real_plan(half), time, between(), bins);
  }
  void power(const float* time, float* power) {
    const TwoPassPlan half = plan(false);
    loops_.power_two_pass(real_plan(half), time, between(), power);
  }
  void inverse(const float* bins, float* time) {
    const TwoPassPlan half = plan(true);
    loops_.join_real(real_plan(half), bins, time);
    run(time, time, true);  // its first pass has read all before the second writes
  }

 private:
  RealPlan real_plan(const TwoPassPlan& half) {
    return {half, row_turns_.data(), floats(std::span<const Bin>(column_turns_))};
  }
  std::vector<float> row_turns_;
  std::vector<Bin> column_turns_;
};

template <class Long>
std::unique_ptr<Long> long_fft(std::size_t length) {
  const std::size_t rows = rows_of(length);
  return rows == 0 ? nullptr : std::make_unique<Long>(length, rows);
}

template <class State>
struct KissFree {
  void operator()(State* state) const { kiss_fft_free(state); }
};
using KissPlan = std::unique_ptr<kiss_fft_state, KissFree<kiss_fft_state>>;
using KissRealPlan = std::unique_ptr<kiss_fftr_state, KissFree<kiss_fftr_state>>;

}  // namespace

// --- Complex ---

struct Fft::Plan {
  explicit Plan(std::size_t n) : length(n), two_pass(long_fft<LongFft>(n)) {
    if (two_pass) return;
    ahead.reset(kiss_fft_alloc(static_cast<int>(n), 0, nullptr, nullptr));
    back.reset(kiss_fft_alloc(static_cast<int>(n), 1, nullptr, nullptr));
  }
  void run(std::span<const Bin> in, std::span<Bin> out, bool inverse) const {
    assert(in.size() == length && out.size() == length);
    if (two_pass) return two_pass->run(floats(in), floats(out), inverse);
    kiss_fft((inverse ? back : ahead).get(), reinterpret_cast<const kiss_fft_cpx*>(in.data()),
             reinterpret_cast<kiss_fft_cpx*>(out.data()));
  }
  std::size_t length;
  std::unique_ptr<LongFft> two_pass;
  KissPlan ahead, back;
};

Fft::Fft(std::size_t length) : plan_(std::make_unique<Plan>(length)) { assert(made_of_2_3_5(length)); }
Fft::~Fft() = default;
Fft::Fft(Fft&&) noexcept = default;
Fft& Fft::operator=(Fft&&) noexcept = default;

std::size_t Fft::length() const { return plan_->length; }

void Fft::forward(std::span<const Bin> in, std::span<Bin> out) const { plan_->run(in, out, false); }

void Fft::inverse(std::span<const Bin> in, std::span<Bin> out) const {
  plan_->run(in, out, true);
  const float scale = 1.0f / static_cast<float>(length());
  for (auto& value : out) value *= scale;
}

// --- Real ---

struct RealFft::Plan {
  explicit Plan(std::size_t n) : length(n), two_pass(long_fft<LongRealFft>(n / 2)) {
    if (two_pass) return;
    ahead.reset(kiss_fftr_alloc(static_cast<int>(n), 0, nullptr, nullptr));
    back.reset(kiss_fftr_alloc(static_cast<int>(n), 1, nullptr, nullptr));
  }
  std::size_t length;
  std::unique_ptr<LongRealFft> two_pass;
  KissRealPlan ahead, back;
  std::vector<Bin> bins;  // of power()
};

RealFft::RealFft(std::size_t length) : plan_(std::make_unique<Plan>(length)) {
  assert(length % 2 == 0 && made_of_2_3_5(length));
}
RealFft::~RealFft() = default;
RealFft::RealFft(RealFft&&) noexcept = default;
RealFft& RealFft::operator=(RealFft&&) noexcept = default;

std::size_t RealFft::length() const { return plan_->length; }

void RealFft::forward(std::span<const float> time, std::span<Bin> bins) const {
  assert(time.size() == length() && bins.size() == length() / 2 + 1);
  if (plan_->two_pass) return plan_->two_pass->forward(time.data(), floats(bins));
  kiss_fftr(plan_->ahead.get(), time.data(), reinterpret_cast<kiss_fft_cpx*>(bins.data()));
}

void RealFft::power(std::span<const float> time, std::span<float> power) const {
  assert(time.size() == length() && power.size() == length() / 2 + 1);
  if (plan_->two_pass) return plan_->two_pass->power(time.data(), power.data());
  plan_->bins.resize(power.size());
  forward(time, plan_->bins);
  for (std::size_t k = 0; k < power.size(); ++k) power[k] = std::norm(plan_->bins[k]);
}

void RealFft::inverse(std::span<const Bin> bins, std::span<float> time) const {
  assert(time.size() == length() && bins.size() == length() / 2 + 1);
  if (plan_->two_pass)
    plan_->two_pass->inverse(floats(bins), time.data());
  else
    kiss_fftri(plan_->back.get(), reinterpret_cast<const kiss_fft_cpx*>(bins.data()), time.data());
  const float scale = (plan_->two_pass ? 2.0f : 1.0f) / static_cast<float>(length());
  for (float& sample : time) sample *= scale;
}

// --- Frames ---

static_assert(FrameFft::batch == frame_lanes);

struct FrameFft::Plan {
  Plan(std::vector<float> window, std::size_t n)
      : weights(std::move(window)),
        padded_weights(weights),
        length(n),
        half(n / 2),
        lane_plan(half),
        half_turns(turns(n, half / 2 + 1)),
        in(half),
        out(half + 1) {
    padded_weights.resize(n, 0.0f);
  }
  using Frames = std::array<const float*, batch>;
  [[nodiscard]] Frames frames_of(std::span<const float> samples, std::size_t hop, std::size_t count) const {
    assert(count >= 1 && count <= batch && (count - 1) * hop + weights.size() <= samples.size());
    Frames frames;
    for (std::size_t f = 0; f < batch; ++f) frames[f] = samples.data() + std::min(f, count - 1) * hop;
    return frames;
  }
  [[nodiscard]] const float* turns_of_bins() const { return floats(std::span<const Bin>(half_turns)); }
  // Leaves the spectra of the frames in `out`, a frame a lane.
  const float* run(std::span<const float> samples, std::size_t hop, std::size_t count) {
    loops.real_frames(view, turns_of_bins(), frames_of(samples, hop, count).data(), weights.data(),
                      weights.size(), gearhark::floats(in), gearhark::floats(out));
    return gearhark::floats(out);
  }
  void powers(std::span<const float> samples, std::size_t hop, std::size_t count, float* power) {
    loops.frame_powers(view, turns_of_bins(), frames_of(samples, hop, count).data(), weights.data(),
                       weights.size(), gearhark::floats(in), gearhark::floats(out), power);
  }
  void add_powers(std::span<const float> samples, std::size_t hop, std::size_t count, float* power) {
    loops.add_power(view, turns_of_bins(), frames_of(samples, hop, count).data(), weights.data(),
                    weights.size(), count, gearhark::floats(in), gearhark::floats(out), power);
  }
  // Sums over `each` frames of every stretch that lies in lines(), side by side, so that the second half of
  // one frame lies ready as the first of the next.
  void add_stretches(Lines& stretches, std::size_t hop, std::size_t each) {
    loops.frame_moments(view, turns_of_bins(), gearhark::floats(stretches), hop, each, padded_weights.data(),
                        gearhark::floats(out), gearhark::floats(second), gearhark::floats(fourth));
  }
  // The last, fewer than a batch.
  void add_few(std::span<const float> samples, std::size_t hop, std::size_t count) {
    few.resize((half + 1) * batch);
    powers(samples, hop, count, few.data());
    float *sum = gearhark::floats(second), *sum_of_squares = gearhark::floats(fourth);
    for (std::size_t i = 0; i < few.size(); ++i) {
      if (i % batch >= count) continue;
      sum[i] += few[i];
      sum_of_squares[i] += few[i] * few[i];
    }
  }
  void clear_sums() {
    second.assign(half / 2 + 1, LaneLine{});
    fourth.assign(half / 2 + 1, LaneLine{});
  }
  // The lanes' sums, cleared.
  void hand_over(std::span<double> second_out, std::span<double> fourth_out) {
    add_lanes(gearhark::floats(second), second_out);
    add_lanes(gearhark::floats(fourth), fourth_out);
    clear_sums();
  }
  static void add_lanes(const float* lanes, std::span<double> out) {
    for (double& value : out) {
      std::array<double, 4> sum{};  // by fours, or each would wait for the one before
      for (std::size_t l = 0; l < batch; l += sum.size())
        for (std::size_t j = 0; j < sum.size(); ++j) sum[j] += static_cast<double>(lanes[l + j]);
      value += (sum[0] + sum[1]) + (sum[2] + sum[3]);
      lanes += batch;
    }
  }
  std::vector<float> weights, padded_weights;
  std::size_t length, half;
  LanePlan lane_plan;
  LanePlanView view{lane_plan};
  std::vector<Bin> half_turns;
  Lines in, out, second, fourth;  // the last two of real numbers, two rows to a line
  std::vector<float> few;
  const Wide& loops = wide();
};

FrameFft::FrameFft(std::vector<float> weights, std::size_t length)
    : plan_(std::make_unique<Plan>(std::move(weights), length)) {
  assert(length % 2 == 0 && made_of_2_3_5(length) && plan_->weights.size() <= length);
}
FrameFft::~FrameFft() = default;
FrameFft::FrameFft(FrameFft&&) noexcept = default;
FrameFft& FrameFft::operator=(FrameFft&&) noexcept = default;

std::size_t FrameFft::length() const { return plan_->length; }
std::size_t FrameFft::bins() const { return plan_->half + 1; }

void FrameFft::forward(std::span<const float> samples, std::size_t hop, std::size_t count,
                       std::span<Bin> out) const {
  assert(out.size() == count * bins());
  plan_->loops.unpack(plan_->run(samples, hop, count), bins(), count, floats(out));
}

void FrameFft::add_power(std::span<const float> samples, std::size_t hop, std::size_t count,
                         std::span<float> power) const {
  assert(power.size() == bins());
  plan_->add_powers(samples, hop, count, power.data());
}

void FrameFft::lane_power(std::span<const float> samples, std::size_t hop, std::size_t count,
                          std::span<float> power) const {
  assert(power.size() == bins() * batch);
  plan_->powers(samples, hop, count, power.data());
}

namespace {

// Stretches of a sound side by side, each `hop` further, with zeros behind.
class SideBySide {
 public:
  Lines& lines(std::span<const float> samples, std::size_t hop, std::size_t length, std::size_t longest) {
    lines_.resize((longest + 1) / 2);
    std::array<const float*, FrameFft::batch> from;
    for (std::size_t p = 0; p < from.size(); ++p) from[p] = samples.data() + p * hop;
    wide().interleave(from.data(), length, floats(lines_));
    return lines_;
  }

 private:
  Lines lines_;
};

constexpr std::size_t stretch_in_cache = 4096;  // samples, of a batch side by side

}  // namespace

void FrameFft::add_moments(std::span<const float> samples, std::size_t hop, std::span<double> second,
                           std::span<double> fourth) const {
  assert(second.size() == bins() && fourth.size() == bins() && hop >= 1);
  const std::size_t window = plan_->weights.size();
  const std::size_t most = std::clamp<std::size_t>(stretch_in_cache / hop + 1, 4, 512);
  std::size_t left = samples.size() < window ? 0 : (samples.size() - window) / hop + 1;
  SideBySide stretches;
  plan_->clear_sums();
  while (left > 0) {
    const std::size_t each = std::min(most, left / batch), frames = each > 0 ? each * batch : left;
    const std::size_t stretch = (each - 1) * hop + window;
    if (each > 0)
      plan_->add_stretches(stretches.lines(samples, each * hop, stretch, stretch + length() - window), hop,
                           each);
    else
      plan_->add_few(samples, hop, left);
    plan_->hand_over(second, fourth);
    left -= frames;
    if (left > 0) samples = samples.subspan(frames * hop);
  }
}

void add_moments(std::span<const float> samples, std::span<const MomentSums> all) {
  std::size_t hop = 1, beyond = 0, padded = 0;
  for (const MomentSums& one : all) {
    hop = std::max(hop, one.hop);
    beyond = std::max(beyond, one.fft.plan_->weights.size());
    padded = std::max(padded, one.fft.length());
  }
  const bool together =
      std::all_of(all.begin(), all.end(), [&](const MomentSums& one) { return hop % one.hop == 0; });
  const std::size_t stretch = (stretch_in_cache + hop - 1) / hop * hop, block = FrameFft::batch * stretch;
  SideBySide stretches;
  for (const MomentSums& one : all) one.fft.plan_->clear_sums();
  while (together && samples.size() >= block + beyond) {
    Lines& lines = stretches.lines(samples, stretch, stretch + beyond, stretch + beyond + padded);
    for (const MomentSums& one : all) {
      one.fft.plan_->add_stretches(lines, one.hop, stretch / one.hop);
      one.fft.plan_->hand_over(one.second, one.fourth);
    }
    samples = samples.subspan(block);
  }
  for (const MomentSums& one : all) one.fft.add_moments(samples, one.hop, one.second, one.fourth);
}

}  // namespace gearhark
