// Compiled once per instruction set, each time with GEARHARK_WIDE naming the namespace of the result.
#include "lane_math.hpp"
#include "wide.hpp"

#ifdef __AVX512F__
#include <immintrin.h>
#endif

namespace gearhark {
namespace {

constexpr std::size_t line = 2 * frame_lanes;  // floats

// Calls use(first lane) for as many registers as make the lanes of a line.
template <class Use>
[[gnu::always_inline]] inline void each_register(const Use& use) {
  for (std::size_t first = 0; first < frame_lanes; first += reg_lanes) use(first);
}

// --- The transform: decimation in time, depth first so that short parts stay in the nearest cache. ---

// A register of complex numbers: with more than one register to a line each is worked through by itself, or
// there would not be enough of them.
struct Few {
  Reg re, im;
};

[[gnu::always_inline]] inline Few operator+(Few a, Few b) { return {a.re + b.re, a.im + b.im}; }
[[gnu::always_inline]] inline Few operator-(Few a, Few b) { return {a.re - b.re, a.im - b.im}; }
[[gnu::always_inline]] inline Few operator*(Few a, Few b) {
  return {a.re * b.re - a.im * b.im, a.re * b.im + a.im * b.re};
}
[[gnu::always_inline]] inline Few operator*(Few a, float b) { return {a.re * b, a.im * b}; }
[[gnu::always_inline]] inline Few turned(Few a, const float* w) {
  return {a.re * w[0] - a.im * w[1], a.re * w[1] + a.im * w[0]};
}
[[gnu::always_inline]] inline Few times_i(Few a) { return {-a.im, a.re}; }

[[gnu::always_inline]] inline Few get_few(const float* at) {
  return {load_reg(at), load_reg(at + frame_lanes)};
}
[[gnu::always_inline]] inline void put_few(float* at, Few value) {
  store_reg(at, value.re);
  store_reg(at + frame_lanes, value.im);
}
[[gnu::always_inline]] inline Reg power_of(Few a) { return a.re * a.re + a.im * a.im; }

// Eight lanes of a line, from `at` on.
[[gnu::always_inline]] inline Complex get(const float* at) { return {load(at), load(at + frame_lanes)}; }
[[gnu::always_inline]] inline void put(float* at, Complex value) {
  store(at, value.re);
  store(at + frame_lanes, value.im);
}

// Transforms of 1 to 5 and of 8 points, x in place.
[[gnu::always_inline]] inline void butterfly2(Few (&x)[8]) {
  const Few a = x[0], b = x[1];
  x[0] = a + b;
  x[1] = a - b;
}

[[gnu::always_inline]] inline void butterfly3(Few (&x)[8]) {
  constexpr float sine = 0.866025403784438647f;
  const Few both = x[1] + x[2];
  const Few across = times_i((x[2] - x[1]) * sine);
  const Few middle = x[0] - both * 0.5f;
  x[0] = x[0] + both;
  x[1] = middle + across;
  x[2] = middle - across;
}

[[gnu::always_inline]] inline void butterfly4(Few (&x)[8]) {
  const Few even = x[0] + x[2], even_less = x[0] - x[2];
  const Few odd = x[1] + x[3], odd_less = times_i(x[3] - x[1]);
  x[0] = even + odd;
  x[1] = even_less + odd_less;
  x[2] = even - odd;
  x[3] = even_less - odd_less;
}

[[gnu::always_inline]] inline void butterfly5(Few (&x)[8]) {
  constexpr float c1 = 0.309016994374947424f, c2 = -0.809016994374947424f;  // cos 72, cos 144 degrees
  constexpr float s1 = 0.951056516295153572f, s2 = 0.587785252292473129f;   // sin 72, sin 144 degrees
  const Few outer = x[1] + x[4], inner = x[2] + x[3];
  const Few outer_less = times_i(x[4] - x[1]), inner_less = times_i(x[3] - x[2]);
  const Few a = x[0] + outer * c1 + inner * c2, b = x[0] + outer * c2 + inner * c1;
  const Few c = outer_less * s1 + inner_less * s2, d = outer_less * s2 - inner_less * s1;
  x[0] = x[0] + outer + inner;
  x[1] = a + c;
  x[2] = b + d;
  x[3] = b - d;
  x[4] = a - c;
}

[[gnu::always_inline]] inline void butterfly8(Few (&x)[8]) {
  constexpr float half_root = 0.707106781186547524f;
  Few even[8] = {x[0], x[2], x[4], x[6]}, odd[8] = {x[1], x[3], x[5], x[7]};
  butterfly4(even);
  butterfly4(odd);
  odd[1] = Few{odd[1].re + odd[1].im, odd[1].im - odd[1].re} * half_root;
  odd[2] = {odd[2].im, -odd[2].re};
  odd[3] = Few{odd[3].im - odd[3].re, -(odd[3].re + odd[3].im)} * half_root;
  for (int k = 0; k < 4; ++k) {
    x[k] = even[k] + odd[k];
    x[k + 4] = even[k] - odd[k];
  }
}

template <unsigned p>
[[gnu::always_inline]] inline void butterfly(Few (&x)[8]) {
  if constexpr (p == 2) butterfly2(x);
  if constexpr (p == 3) butterfly3(x);
  if constexpr (p == 4) butterfly4(x);
  if constexpr (p == 5) butterfly5(x);
  if constexpr (p == 8) butterfly8(x);
}

// What a transform reads: lines as they are, the same with the second half taken for zeros, or each times two
// weights, of its real and imaginary parts.
struct Plain {
  static constexpr bool half = false;
  const float* lines;
  [[gnu::always_inline]] Few operator()(std::size_t i, std::size_t lane) const {
    return get_few(lines + i * line + lane);
  }
};
struct FirstHalf : Plain {
  static constexpr bool half = true;
};
struct Weighted {
  static constexpr bool half = false;
  const float *lines, *weights;
  [[gnu::always_inline]] Few operator()(std::size_t i, std::size_t lane) const {
    const Few x = get_few(lines + i * line + lane);
    return {x.re * weights[2 * i], x.im * weights[2 * i + 1]};
  }
};

// `count` transforms of p points that are step x count lines apart, the first from line `from` on; `step`
// lines further each, out side by side. Of an even number of points the second half lies in the second half.
template <unsigned p, class Source>
void first_stages(const Source& in, std::size_t from, std::size_t step, std::size_t count, float* out) {
  constexpr bool to_half = Source::half && p % 2 == 0;
  for (std::size_t i = 0; i < count; ++i, from += step, out += p * line)
    each_register([&](std::size_t lane) {
      Few x[8];
      for (unsigned j = 0; j < p; ++j)
        x[j] = to_half && 2 * j >= p ? Few{} : in(from + j * step * count, lane);
      butterfly<p>(x);
      for (unsigned j = 0; j < p; ++j) put_few(out + j * line + lane, x[j]);
    });
}

// Point k of each of p transforms of m points that stand one after the other, to points k, k + m, ... of one.
template <unsigned p>
[[gnu::always_inline]] inline void joined(const float* data, std::size_t m, const float* turns, std::size_t k,
                                          std::size_t lane, Few (&x)[8]) {
  const float* from = data + k * line + lane;
  x[0] = get_few(from);
  for (unsigned j = 1; j < p; ++j)
    x[j] = turned(get_few(from + j * m * line), turns + 2 * (k * (p - 1) + j - 1));
  butterfly<p>(x);
}

template <unsigned p>
void join(float* data, std::size_t m, const float* turns) {
  for (std::size_t k = 0; k < m; ++k)
    each_register([&](std::size_t lane) {
      Few x[8];
      joined<p>(data, m, turns, k, lane, x);
      for (unsigned j = 0; j < p; ++j) put_few(data + (k + j * m) * line + lane, x[j]);
    });
}

template <class Source>
void first_stages(unsigned p, const Source& in, std::size_t from, std::size_t step, std::size_t count,
                  float* out) {
  switch (p) {
    case 2:
      return first_stages<2>(in, from, step, count, out);
    case 3:
      return first_stages<3>(in, from, step, count, out);
    case 4:
      return first_stages<4>(in, from, step, count, out);
    case 5:
      return first_stages<5>(in, from, step, count, out);
    case 8:
      return first_stages<8>(in, from, step, count, out);
    default:
      return first_stages<1>(in, from, step, count, out);
  }
}

void join(unsigned p, float* data, std::size_t m, const float* turns) {
  switch (p) {
    case 2:
      return join<2>(data, m, turns);
    case 3:
      return join<3>(data, m, turns);
    case 4:
      return join<4>(data, m, turns);
    case 5:
      return join<5>(data, m, turns);
    default:
      return;
  }
}

// Transforms of n points, every step-th line from `from` on.
template <class Source>
void transform_part(const LanePlanView& plan, std::size_t stage, std::size_t n, const Source& in,
                    std::size_t from, std::size_t step, float* out);

// All but the last join.
template <class Source>
void transform_apart(const LanePlanView& plan, std::size_t stage, std::size_t n, const Source& in,
                     std::size_t from, std::size_t step, float* out) {
  const unsigned p = plan.radices[stage];
  const std::size_t m = n / p;
  if (m == 1) return first_stages(p, in, from, step, 1, out);
  if (m == plan.radices[stage + 1]) return first_stages(static_cast<unsigned>(m), in, from, step, p, out);
  for (unsigned j = 0; j < p; ++j)
    transform_part(plan, stage + 1, m, in, from + j * step, step * p, out + j * m * line);
}

template <class Source>
void transform_part(const LanePlanView& plan, std::size_t stage, std::size_t n, const Source& in,
                    std::size_t from, std::size_t step, float* out) {
  transform_apart(plan, stage, n, in, from, step, out);
  const unsigned p = plan.radices[stage];
  if (n > p) join(p, out, n / p, plan.turns[stage]);
}

void transform(const LanePlanView& plan, const float* in, float* out) {
  transform_part(plan, 0, plan.length, Plain{in}, 0, 1, out);
}

// --- Real frames: even samples as real parts, odd as imaginary, taken apart afterwards. ---

void gather_frames(const float* const* frames, const float* weights, std::size_t used, std::size_t length,
                   float* out) {
  std::size_t i = 0;
  for (; i + lanes <= used; i += lanes) {
    const Lanes w = load(weights + i);
    for (std::size_t first = 0; first < frame_lanes; first += lanes) {
      Lanes rows[lanes];
      for (std::size_t f = 0; f < lanes; ++f) rows[f] = load(frames[first + f] + i) * w;
      transpose(rows);
      for (std::size_t j = 0; j < lanes; ++j) store(out + (i + j) * frame_lanes + first, rows[j]);
    }
  }
  for (; i < used; ++i)
    for (std::size_t f = 0; f < frame_lanes; ++f) out[i * frame_lanes + f] = frames[f][i] * weights[i];
  __builtin_memset(out + used * frame_lanes, 0, (length - used) * frame_lanes * sizeof(float));
}

[[gnu::always_inline]] inline unsigned last_radix(const LanePlanView& plan) {
  std::size_t stage = 0;
  for (std::size_t n = plan.length; n > plan.radices[stage]; ++stage) n /= plan.radices[stage];
  return plan.radices[stage];
}

// Calls use(source) with the frames gathered in `in`, of which zeros make up half or more where they are so
// short, as those of an even number of points do that are padded to twice their length.
template <class Use>
[[gnu::always_inline]] inline void with_frames(const LanePlanView& plan, const float* const* frames,
                                               const float* weights, std::size_t used, float* in,
                                               const Use& use) {
  const bool half = used <= plan.length && last_radix(plan) % 2 == 0;
  gather_frames(frames, weights, used, half ? plan.length : 2 * plan.length, in);
  if (half) return use(FirstHalf{{in}});
  use(Plain{in});
}

// Twice the bins k and n - k of a real spectrum from z's, with E, O the spectra of the even and odd samples
// in z: X[k] = E + W O, X[n-k] = conj(E - W O); sum = 2 (E + W O), less = 2 (E - W O).
struct Split {
  Few sum, less;
};
[[gnu::always_inline]] inline Split split(Few a, Few b, const float* turn) {
  const Few even{a.re + b.re, a.im - b.im};
  const Few odd = turned(Few{a.im + b.im, b.re - a.re}, turn);
  return {even + odd, even - odd};
}

void split_real(float* bins, std::size_t n, const float* turns) {
  each_register([&](std::size_t lane) {
    const Few z = get_few(bins + lane);
    put_few(bins + lane, {z.re + z.im, Reg{}});
    put_few(bins + n * line + lane, {z.re - z.im, Reg{}});
  });
  for (std::size_t k = 1; 2 * k <= n; ++k)
    each_register([&](std::size_t lane) {
      float *low = bins + k * line + lane, *high = bins + (n - k) * line + lane;
      const Split x = split(get_few(low), get_few(high), turns + 2 * k);
      put_few(low, x.sum * 0.5f);
      put_few(high, Few{x.less.re, -x.less.im} * 0.5f);
    });
}

// Hands the powers of a real spectrum to use(k, first lane, |X[k]|^2); turns: W_2n^k, k = 0..n/2.
template <class Use>
struct PowerSplit {
  std::size_t n;
  const float* turns;
  const Use& use;
  [[gnu::always_inline]] void ends(std::size_t lane, Few z) const {
    use(0, lane, (z.re + z.im) * (z.re + z.im));
    use(n, lane, (z.re - z.im) * (z.re - z.im));
  }
  [[gnu::always_inline]] void middle(std::size_t lane, Few z) const { use(n / 2, lane, power_of(z)); }
  // a: z[k], b: z[n - k]
  [[gnu::always_inline]] void pair(std::size_t k, std::size_t lane, Few a, Few b) const {
    if (2 * k > n) return pair_below(n - k, lane, b, a);
    pair_below(k, lane, a, b);
  }
  [[gnu::always_inline]] void pair_below(std::size_t k, std::size_t lane, Few a, Few b) const {
    const Split x = split(a, b, turns + 2 * k);
    use(k, lane, power_of(x.sum) * 0.25f);
    use(n - k, lane, power_of(x.less) * 0.25f);
  }
};

template <class Use>
void split_power(const float* z, const PowerSplit<Use>& split_to) {
  const std::size_t n = split_to.n;
  each_register([&](std::size_t lane) { split_to.ends(lane, get_few(z + lane)); });
  for (std::size_t k = 1; 2 * k < n; ++k)
    each_register([&](std::size_t lane) {
      split_to.pair_below(k, lane, get_few(z + k * line + lane), get_few(z + (n - k) * line + lane));
    });
  if (n % 2 == 0)
    each_register([&](std::size_t lane) { split_to.middle(lane, get_few(z + n / 2 * line + lane)); });
}

// join() and split_power() in one, which spares a way to memory and back: points k + j m and their mates
// m - k + (p - 1 - j) m come of two groups of p.
template <unsigned p, class Use>
void join_power(const float* data, std::size_t m, const float* turns, const PowerSplit<Use>& split_to) {
  each_register([&](std::size_t lane) {
    Few x[8];
    joined<p>(data, m, turns, 0, lane, x);
    split_to.ends(lane, x[0]);
    for (unsigned j = 1; 2 * j < p; ++j) split_to.pair_below(j * m, lane, x[j], x[p - j]);
    if (p % 2 == 0) split_to.middle(lane, x[p / 2]);
  });
  for (std::size_t k = 1; 2 * k < m; ++k)
    each_register([&](std::size_t lane) {
      Few x[8], mates[8];
      joined<p>(data, m, turns, k, lane, x);
      joined<p>(data, m, turns, m - k, lane, mates);
      for (unsigned j = 0; j < p; ++j) split_to.pair(k + j * m, lane, x[j], mates[p - 1 - j]);
    });
  if (m % 2 == 0)
    each_register([&](std::size_t lane) {
      Few x[8];
      joined<p>(data, m, turns, m / 2, lane, x);
      for (unsigned j = 0; 2 * j + 1 < p; ++j) split_to.pair_below(m / 2 + j * m, lane, x[j], x[p - 1 - j]);
      if (p % 2 == 1) split_to.middle(lane, x[p / 2]);
    });
}

// Powers of the real frames that lie in `in`, even samples as real parts; out: scratch.
template <class Source, class Use>
[[gnu::always_inline]] inline void powers_of(const LanePlanView& plan, const float* turns, const Source& in,
                                             float* out, const Use& use) {
  const std::size_t n = plan.length;
  const unsigned p = plan.radices[0];
  const PowerSplit<Use> split_to{n, turns, use};
  transform_apart(plan, 0, n, in, 0, 1, out);
  if (n == p) return split_power(out, split_to);
  switch (p) {
    case 2:
      return join_power<2>(out, n / p, plan.turns[0], split_to);
    case 3:
      return join_power<3>(out, n / p, plan.turns[0], split_to);
    case 4:
      return join_power<4>(out, n / p, plan.turns[0], split_to);
    default:
      return join_power<5>(out, n / p, plan.turns[0], split_to);
  }
}

void real_frames(const LanePlanView& plan, const float* turns, const float* const* frames,
                 const float* weights, std::size_t used, float* in, float* out) {
  with_frames(plan, frames, weights, used, in,
              [&](const auto& source) { transform_part(plan, 0, plan.length, source, 0, 1, out); });
  split_real(out, plan.length, turns);
}

void frame_powers(const LanePlanView& plan, const float* turns, const float* const* frames,
                  const float* weights, std::size_t used, float* in, float* out, float* power) {
  with_frames(plan, frames, weights, used, in, [&](const auto& source) {
    powers_of(plan, turns, source, out,
              [&](std::size_t k, std::size_t lane, Reg p) { store_reg(power + k * frame_lanes + lane, p); });
  });
}

void frame_moments(const LanePlanView& plan, const float* turns, const float* parts_of, std::size_t hop,
                   std::size_t count, const float* weights, float* out, float* second, float* fourth) {
  for (std::size_t f = 0; f < count; ++f, parts_of += hop * frame_lanes)
    powers_of(plan, turns, Weighted{parts_of, weights}, out, [&](std::size_t k, std::size_t lane, Reg p) {
      const std::size_t at = k * frame_lanes + lane;
      store_reg(second + at, load_reg(second + at) + p);
      store_reg(fourth + at, load_reg(fourth + at) + p * p);
    });
}

void unpack(const float* in, std::size_t bins, std::size_t count, float* out) {
  for (std::size_t first = 0; first < count; first += lanes, in += lanes, out += 2 * lanes * bins) {
    const std::size_t held = count - first < lanes ? count - first : lanes;
    std::size_t k = 0;
    for (; k + lanes <= bins; k += lanes) {
      Lanes re[lanes], im[lanes];
      for (std::size_t j = 0; j < lanes; ++j) {
        const Complex here = get(in + (k + j) * line);
        re[j] = here.re;
        im[j] = here.im;
      }
      transpose(re);
      transpose(im);
      for (std::size_t f = 0; f < held; ++f) put_pairs(out + 2 * (f * bins + k), {re[f], im[f]});
    }
    for (; k < bins; ++k)
      for (std::size_t f = 0; f < held; ++f) {
        out[2 * (f * bins + k)] = in[k * line + f];
        out[2 * (f * bins + k) + 1] = in[k * line + frame_lanes + f];
      }
  }
}

void add_power(const LanePlanView& plan, const float* turns, const float* const* frames, const float* weights,
               std::size_t used, std::size_t count, float* in, float* out, float* power) {
  float counted[frame_lanes] = {};
  for (std::size_t f = 0; f < count; ++f) counted[f] = 1.0f;
  with_frames(plan, frames, weights, used, in, [&](const auto& source) {
    powers_of(plan, turns, source, out,
              [&](std::size_t k, std::size_t lane, Reg p) { power[k] += sum(p * load_reg(counted + lane)); });
  });
}

// --- Long transforms: columns side by side, turned, then rows side by side. Every access to the long arrays
// is a whole cache line. An inverse is the same with real and imaginary parts exchanged. ---

[[gnu::always_inline]] inline std::size_t least(std::size_t a, std::size_t b) { return a < b ? a : b; }

[[gnu::always_inline]] inline Complex exchanged(Complex a, bool inverse) {
  return inverse ? Complex{a.im, a.re} : a;
}

// Where there are not enough for a last block it overlaps the one before and does some again.
[[gnu::always_inline]] inline std::size_t blocks_in(std::size_t count) {
  return (count + frame_lanes - 1) / frame_lanes;
}
[[gnu::always_inline]] inline std::size_t first_of(std::size_t block, std::size_t count) {
  return least(block * frame_lanes, count - frame_lanes);
}

// Lane l of line k times W_length^((first + l) k), as W^(first k), by repeated multiplication in double
// precision, times W^(l k).
void turn_columns(const TwoPassPlan& plan, const float* from, float* to, std::size_t first) {
  const double angle = -6.283185307179586477 * static_cast<double>(first) / static_cast<double>(plan.length);
  const double step_re = __builtin_cos(angle), step_im = __builtin_sin(angle);
  double re = 1.0, im = 0.0;
  for (std::size_t k = 0; k < plan.column.length; ++k) {
    const float both[2] = {static_cast<float>(re), static_cast<float>(im)};
    each_register([&](std::size_t lane) {
      const Few x = get_few(from + k * line + lane), w = get_few(plan.lane_turns + k * line + lane);
      put_few(to + k * line + lane, turned(x * w, both));
    });
    const double next = re * step_re - im * step_im;
    im = re * step_im + im * step_re;
    re = next;
  }
}

// Neighbouring lines of the long arrays are read and written together, or each would cost a look into the
// tables of pages.
constexpr std::size_t together = two_pass_blocks;

// `out` then holds, block by block of columns, a line for each row.
void columns_pass(const TwoPassPlan& plan, const float* in, float* out) {
  const std::size_t rows = plan.column.length, columns = plan.row.length, all_blocks = blocks_in(columns);
  for (std::size_t block = 0; block < all_blocks; block += together) {
    const std::size_t blocks = least(together, all_blocks - block);
    for (std::size_t r = 0; r < rows; ++r)
      for (std::size_t i = 0; i < blocks; ++i) {
        const float* from = in + 2 * (r * columns + first_of(block + i, columns));
        float* to = plan.a + (i * rows + r) * line;
        for (std::size_t lane = 0; lane < frame_lanes; lane += lanes)
          put(to + lane, exchanged(get_pairs(from + 2 * lane), plan.inverse));
      }
    for (std::size_t i = 0; i < blocks; ++i, out += rows * line) {
      transform(plan.column, plan.a + i * rows * line, plan.b);
      turn_columns(plan, plan.b, out, first_of(block + i, columns));
    }
  }
}

// Eight lines' lanes to eight lanes' lines.
[[gnu::always_inline]] inline void transpose_lines(const float* const (&from)[lanes], float* to) {
  Lanes re[lanes], im[lanes];
  for (std::size_t j = 0; j < lanes; ++j) {
    const Complex here = get(from[j]);
    re[j] = here.re;
    im[j] = here.im;
  }
  transpose(re);
  transpose(im);
  for (std::size_t j = 0; j < lanes; ++j) put(to + j * line, {re[j], im[j]});
}

// The transform of some rows, one a lane, of what columns_pass() leaves.
void transform_rows(const TwoPassPlan& plan, const float* in, const std::size_t (&row)[frame_lanes],
                    float* out) {
  const std::size_t rows = plan.column.length, columns = plan.row.length;
  for (std::size_t block = 0; block < blocks_in(columns); ++block, in += rows * line) {
    float* to = plan.a + first_of(block, columns) * line;
    for (std::size_t r = 0; r < frame_lanes; r += lanes)
      for (std::size_t c = 0; c < frame_lanes; c += lanes) {
        const float* from[lanes];
        for (std::size_t j = 0; j < lanes; ++j) from[j] = in + row[r + j] * line + c;
        transpose_lines(from, to + c * line + r);
      }
  }
  transform(plan.row, plan.a, out);
}

void two_pass(const TwoPassPlan& plan, const float* in, float* between, float* out) {
  const std::size_t rows = plan.column.length, columns = plan.row.length, all_blocks = blocks_in(rows);
  columns_pass(plan, in, between);
  for (std::size_t block = 0; block < all_blocks; block += together) {
    const std::size_t blocks = least(together, all_blocks - block);
    for (std::size_t i = 0; i < blocks; ++i) {
      std::size_t row[frame_lanes];
      for (std::size_t j = 0; j < frame_lanes; ++j) row[j] = first_of(block + i, rows) + j;
      transform_rows(plan, between, row, plan.b + i * columns * line);
    }
    for (std::size_t c = 0; c < columns; ++c)
      for (std::size_t i = 0; i < blocks; ++i)
        for (std::size_t lane = 0; lane < frame_lanes; lane += lanes)
          put_pairs(out + 2 * (c * rows + first_of(block + i, rows) + lane),
                    exchanged(get(plan.b + (i * columns + c) * line + lane), plan.inverse));
  }
}

// --- Long real transforms: of half the length, even samples as real parts, odd as imaginary, taken apart as
// in split_real(). Bin k = row + rows column has its mate in row rows - row, column columns - 1 - column; in
// row 0, in column columns - column. ---

// W^k for eight rows from r on and one column, W that of the real length.
[[gnu::always_inline]] inline Complex real_turns(const RealPlan& plan, std::size_t r, std::size_t c) {
  const float* at = plan.row_turns + r;
  return turned({load(at), load(at + plan.half.column.length)}, plan.column_turns + 2 * c);
}

// What becomes of bins: kept as they are, or the squares of their magnitudes.
struct KeepBins {
  float* out;
  [[gnu::always_inline]] void operator()(std::size_t k, Complex bins) const { put_pairs(out + 2 * k, bins); }
  void operator()(std::size_t k, float re, float im) const {
    out[2 * k] = re;
    out[2 * k + 1] = im;
  }
};
struct KeepPower {
  float* out;
  [[gnu::always_inline]] void operator()(std::size_t k, Complex bins) const {
    store(out + k, bins.re * bins.re + bins.im * bins.im);
  }
  void operator()(std::size_t k, float re, float im) const { out[k] = re * re + im * im; }
};

// The bins of row 0 and of the row in the middle, which are their own mates; lanes 0 and 1 of `lines`.
template <class Keep>
void split_own_mates(const RealPlan& plan, const float* lines, const Keep& keep) {
  const std::size_t rows = plan.half.column.length, columns = plan.half.row.length;
  for (std::size_t lane = 0; lane < 2; ++lane) {
    const std::size_t row = lane * rows / 2;
    for (std::size_t c = 0; c < columns; ++c) {
      const float* a = lines + c * line + lane;
      const float* b = lines + (lane == 0 ? (columns - c) % columns : columns - 1 - c) * line + lane;
      const float even_re = 0.5f * (a[0] + b[0]), even_im = 0.5f * (a[frame_lanes] - b[frame_lanes]);
      const float odd_re = 0.5f * (a[frame_lanes] + b[frame_lanes]), odd_im = 0.5f * (b[0] - a[0]);
      const float* w = plan.row_turns + row;
      const float* v = plan.column_turns + 2 * c;
      const float re = w[0] * v[0] - w[rows] * v[1], im = w[0] * v[1] + w[rows] * v[0];
      keep(row + rows * c, even_re + odd_re * re - odd_im * im, even_im + odd_re * im + odd_im * re);
    }
  }
  keep(rows * columns, lines[0] - lines[frame_lanes], 0.0f);
}

// Bins k and their mates, of eight rows from r on; what stands in both.
template <class Keep>
[[gnu::always_inline]] inline void split_rows(const RealPlan& plan, std::size_t r, std::size_t c,
                                              const float* at, const float* mate, const Keep& keep) {
  const std::size_t rows = plan.half.column.length, columns = plan.half.row.length;
  const Complex a = get(at), b = get(mate);
  const Complex even{(a.re + b.re) * 0.5f, (a.im - b.im) * 0.5f};
  const Complex odd = Complex{(a.im + b.im) * 0.5f, (b.re - a.re) * 0.5f} * real_turns(plan, r, c);
  keep(rows * c + r, even + odd);
  keep(rows * (columns - c) - r - (lanes - 1), {reversed(even.re - odd.re), reversed(odd.im - even.im)});
}

template <class Keep>
void real_two_pass_to(const RealPlan& plan, const float* in, float* between, const Keep& keep) {
  const TwoPassPlan& half = plan.half;
  const std::size_t rows = half.column.length, columns = half.row.length;
  float* const mates = half.b + together / 2 * columns * line;
  columns_pass(half, in, between);
  for (std::size_t first = 0; first < rows / 2; first += together / 2 * frame_lanes) {
    const std::size_t blocks = least(together / 2, blocks_in(rows / 2 - first));
    for (std::size_t i = 0; i < blocks; ++i) {
      std::size_t row[frame_lanes], mate[frame_lanes];
      for (std::size_t j = 0; j < frame_lanes; ++j) {
        row[j] = first + i * frame_lanes + j;
        mate[j] = row[j] == 0 ? 0 : rows - row[j];
      }
      transform_rows(half, between, row, half.b + i * columns * line);
      transform_rows(half, between, mate, mates + i * columns * line);
    }
    for (std::size_t c = 0; c < columns; ++c)
      for (std::size_t i = 0; i < blocks; ++i)
        for (std::size_t lane = 0; lane < frame_lanes; lane += lanes)
          split_rows(plan, first + i * frame_lanes + lane, c, half.b + (i * columns + c) * line + lane,
                     mates + (i * columns + columns - 1 - c) * line + lane, keep);
  }
  const std::size_t own[frame_lanes] = {0, rows / 2};
  transform_rows(half, between, own, half.b);
  split_own_mates(plan, half.b, keep);
}

void real_two_pass(const RealPlan& plan, const float* in, float* between, float* out) {
  real_two_pass_to(plan, in, between, KeepBins{out});
}

void power_two_pass(const RealPlan& plan, const float* in, float* between, float* power) {
  real_two_pass_to(plan, in, between, KeepPower{power});
}

// What real_two_pass() takes apart put together again: bins 0..half to `out`, half numbers that make the real
// signal when transformed back.
void join_real(const RealPlan& plan, const float* in, float* out) {
  const std::size_t rows = plan.half.column.length, columns = plan.half.row.length, half = rows * columns;
  for (std::size_t c = 0; c < columns; ++c)
    for (std::size_t r = 0; r < rows; r += lanes) {
      const std::size_t k = rows * c + r;
      const Complex a = get_pairs(in + 2 * k), mate = get_pairs(in + 2 * (half - k - (lanes - 1)));
      const Complex b{reversed(mate.re), -reversed(mate.im)}, w = real_turns(plan, r, c);
      const Complex even = (a + b) * 0.5f, odd = (a - b) * 0.5f * Complex{w.re, -w.im};
      put_pairs(out + 2 * k, even + times_i(odd));
    }
  out[0] = 0.5f * (in[0] + in[2 * half]);
  out[1] = 0.5f * (in[0] - in[2 * half]);
}

// --- Filters ---

constexpr std::size_t tap_lanes = reg_lanes > lanes ? reg_lanes : lanes;

// Calls use(k, Width{}) for every piece of `taps` as wide as the registers, the rest by eights.
template <class Use>
[[gnu::always_inline]] inline void by_pieces(std::size_t taps, const Use& use) {
  std::size_t k = 0;
#ifdef __AVX512F__
  for (; k + reg_lanes <= taps; k += reg_lanes) use(k, Sum{});
#endif
  for (; k < taps; k += lanes) use(k, Lanes{});
}

// Of neighbours and weights.
[[gnu::always_inline]] inline Sum products(const float* x, const float* weights, std::size_t taps) {
  Sum total{};
  by_pieces(taps, [&](std::size_t k, auto wide) {
    total = total + widened(load_as(wide, x + k) * load_as(wide, weights + k));
  });
  return total;
}

// With weights `part` of the way from one row of them to the next; `rise`: what that is more.
[[gnu::always_inline]] inline Sum products_between(const float* x, const float* row, const float* rise,
                                                   std::size_t taps, float part) {
  Sum total{};
  by_pieces(taps, [&](std::size_t k, auto wide) {
    const auto weights = load_as(wide, row + k) + load_as(wide, rise + k) * part;
    total = total + widened(load_as(wide, x + k) * weights);
  });
  return total;
}

// As many at once as there are registers for.
void sliding_dots(const float* x, std::size_t hop, std::size_t count, const float* weights, std::size_t taps,
                  float* out, std::size_t apart) {
  constexpr std::size_t at_once = lanes / parts;
  std::size_t i = 0;
  for (; i + at_once <= count; i += at_once, x += at_once * hop) {
    Sum total[lanes] = {};
    by_pieces(taps, [&](std::size_t k, auto wide) {
      const auto w = load_as(wide, weights + k);
      for (std::size_t j = 0; j < at_once; ++j)
        total[j] = total[j] + widened(load_as(wide, x + j * hop + k) * w);
    });
    float sum_of[lanes];
    store(sum_of, sums(total));
    for (std::size_t j = 0; j < at_once; ++j) out[(i + j) * apart] = sum_of[j];
  }
  for (; i < count; ++i, x += hop) out[i * apart] = sum(products(x, weights, taps));
}

// Where a signal is read, so many times: from sample `whole` on, with this row of a table, and how far
// towards the next row. Found for many outputs before any is read: the way from a position to its row is
// long, and reading waited for it.
constexpr std::size_t most_places = 64;
struct Places {
  int whole[most_places], row[most_places];
  float part[most_places];
};

// Of eight positions, the first `at`.
[[gnu::always_inline]] inline void place_eight(const double* position, double scale, double shift,
                                               std::size_t rows, double rounding, std::size_t at,
                                               Places& out) {
  constexpr std::size_t wide = reg_lanes / 2;
  using Doubles [[gnu::vector_size(wide * sizeof(double))]] = double;
  using Wholes [[gnu::vector_size(wide * sizeof(int))]] = int;
  using Floats [[gnu::vector_size(wide * sizeof(float))]] = float;
  const auto fineness = static_cast<double>(rows);
  for (std::size_t j = 0; j < lanes; j += wide) {
    Doubles here;
    __builtin_memcpy(&here, position + j, sizeof here);
    here = here * scale + shift;
    const Wholes whole = __builtin_convertvector(here, Wholes);
    const Doubles fine = (here - __builtin_convertvector(whole, Doubles)) * fineness + rounding;
    const Wholes row = __builtin_convertvector(fine, Wholes);
    const Floats part = __builtin_convertvector(fine - __builtin_convertvector(row, Doubles), Floats);
    __builtin_memcpy(out.whole + at + j, &whole, sizeof whole);
    __builtin_memcpy(out.row + at + j, &row, sizeof row);
    __builtin_memcpy(out.part + at + j, &part, sizeof part);
  }
}

// Calls use(places, first of eight among them, first output, how many); of the last eight the last is
// repeated.
template <class Use>
[[gnu::always_inline]] inline void eight_by_eight(const double* position, std::size_t count, double scale,
                                                  double shift, std::size_t rows, double rounding,
                                                  const Use& use) {
  Places out;
  for (std::size_t first = 0; first < count; first += most_places) {
    const std::size_t held = least(most_places, count - first);
    for (std::size_t j = 0; j < held; j += lanes) {
      const double* from = position + first + j;
      double rest[lanes];
      if (held - j < lanes) {
        for (std::size_t k = 0; k < lanes; ++k) rest[k] = from[least(k, held - j - 1)];
        from = rest;
      }
      place_eight(from, scale, shift, rows, rounding, j, out);
    }
    // In memory: taken out of registers one by one they would cost more than all the rest.
    __asm__("" : "+m"(out));
    for (std::size_t j = 0; j < held; j += lanes) use(out, j, first + j, least(lanes, held - j));
  }
}

[[gnu::always_inline]] inline void store_first(float* to, Lanes values, std::size_t count) {
  if (count == lanes) return store(to, values);
  float all_of[lanes];
  store(all_of, values);
  for (std::size_t j = 0; j < count; ++j) to[j] = all_of[j];
}

[[gnu::always_inline]] inline void read_nearest(const float* x, const double* position, std::size_t count,
                                                const float* table, std::size_t taps, std::size_t rows,
                                                float* out) {
  eight_by_eight(position, count, 1.0, 0.0, rows, 0.5,
                 [&](const Places& at, std::size_t from, std::size_t first, std::size_t held) {
                   Sum total[lanes];
#pragma GCC unroll 8
                   for (std::size_t j = 0; j < lanes; ++j)
                     total[j] = products(x + at.whole[from + j],
                                         table + static_cast<std::size_t>(at.row[from + j]) * taps, taps);
                   store_first(out + first, sums(total), held);
                 });
}

void read_at(const float* x, const double* position, std::size_t count, const float* table, std::size_t taps,
             std::size_t rows, float* out) {
  read_nearest(x, position, count, table, taps, rows, out);
}

[[gnu::always_inline]] inline void read_along_with(const float* x, const double* c, double step, double last,
                                                   std::size_t count, const float* table, std::size_t taps,
                                                   std::size_t rows, float* out) {
  for (std::size_t first = 0; first < count; first += most_places) {
    double position[most_places];
    const std::size_t held = least(most_places, count - first);
    for (std::size_t j = 0; j < held; ++j) {
      const double u = static_cast<double>(static_cast<int>(first + j)) * step;
      const double at = c[0] + u * (c[1] + u * (c[2] + u * c[3]));
      position[j] = at < 0.0 ? 0.0 : at > last ? last : at;
    }
    read_nearest(x, position, held, table, taps, rows, out + first);
  }
}

void read_along(const float* x, const double* c, double step, double last, std::size_t count,
                const float* table, std::size_t taps, std::size_t rows, float* out) {
  if (taps == 32) return read_along_with(x, c, step, last, count, table, 32, rows, out);
  read_along_with(x, c, step, last, count, table, taps, rows, out);
}

[[gnu::always_inline]] inline void read_between_with(const float* x, const double* position, double scale,
                                                     double shift, std::size_t count, const float* table,
                                                     std::size_t taps, std::size_t rows, float* out) {
  eight_by_eight(position, count, scale, shift, rows, 0.0,
                 [&](const Places& at, std::size_t from, std::size_t first, std::size_t held) {
                   Sum total[lanes];
#pragma GCC unroll 8
                   for (std::size_t j = 0; j < lanes; ++j) {
                     const float* row = table + 2 * static_cast<std::size_t>(at.row[from + j]) * taps;
                     total[j] =
                         products_between(x + at.whole[from + j], row, row + taps, taps, at.part[from + j]);
                   }
                   store_first(out + first, sums(total), held);
                 });
}

// The usual numbers of taps are known to the compiler.
void read_between(const float* x, const double* position, double scale, double shift, std::size_t count,
                  const float* table, std::size_t taps, std::size_t rows, float* out) {
  if (taps == 32) return read_between_with(x, position, scale, shift, count, table, 32, rows, out);
  constexpr std::size_t next = 32 + tap_lanes;
  if (taps == next) return read_between_with(x, position, scale, shift, count, table, next, rows, out);
  read_between_with(x, position, scale, shift, count, table, taps, rows, out);
}

// By the extremes; the sum of the steps tells of what is no number, which has no place among extremes.
// Whether the values themselves lie within is not looked at where their steps leave them no other choice.
bool within(const double* values, std::size_t count, double low, double high, double least_step,
            double most_step) {
  constexpr std::size_t wide = reg_lanes / 2;
  using Doubles [[gnu::vector_size(wide * sizeof(double))]] = double;
  Doubles least = Doubles{} + most_step, most = Doubles{} + least_step, total{};
  std::size_t i = 0;
  for (; i + wide < count; i += wide) {
    Doubles here, next;
    __builtin_memcpy(&here, values + i, sizeof here);
    __builtin_memcpy(&next, values + i + 1, sizeof next);
    Doubles step = next - here;
    step = step < 0.0 ? -step : step;
    least = step < least ? step : least;
    most = step > most ? step : most;
    total += step;
  }
  const auto fits = (least >= least_step) & (most <= most_step) & (total == total);
  bool fine = true;
  for (std::size_t j = 0; j < wide; ++j) fine = fine && fits[j];
  for (; fine && i + 1 < count; ++i) {
    const double step = __builtin_fabs(values[i + 1] - values[i]);
    fine = step >= least_step && step <= most_step;
  }
  const double reach = static_cast<double>(count) * most_step;
  if (count == 0 || (values[0] - reach >= low && values[0] + reach <= high)) return fine;
  for (i = 0; fine && i < count; ++i) fine = values[i] >= low && values[i] <= high;
  return fine;
}

void complex_windows(const float* re, const float* im, const float* taps_re, const float* taps_im,
                     std::size_t width, std::size_t hop, std::size_t count, float* out) {
  for (std::size_t i = 0; i < count; ++i, re += hop, im += hop) {
    Complex total{};
    std::size_t k = 0;
    for (; k + lanes <= width; k += lanes)
      total = total + Complex{load(re + k), load(im + k)} * Complex{load(taps_re + k), load(taps_im + k)};
    out[2 * i] = sum(total.re);
    out[2 * i + 1] = sum(total.im);
    for (; k < width; ++k) {
      out[2 * i] += re[k] * taps_re[k] - im[k] * taps_im[k];
      out[2 * i + 1] += re[k] * taps_im[k] + im[k] * taps_re[k];
    }
  }
}

void block_sums(const float* x, const float* cosine, const float* sine, std::size_t block, std::size_t count,
                float* re, float* im) {
  for (std::size_t b = 0; b < count; ++b, x += block) {
    Complex total{};
    std::size_t k = 0;
    for (; k + lanes <= block; k += lanes) {
      const Lanes here = load(x + k);
      total = total + Complex{here * load(cosine + k), here * load(sine + k)};
    }
    re[b] = sum(total.re);
    im[b] = sum(total.im);
    for (; k < block; ++k) {
      re[b] += x[k] * cosine[k];
      im[b] += x[k] * sine[k];
    }
  }
}

// --- Statistics ---

void interleave(const float* const* rows, std::size_t count, float* out) {
  std::size_t i = 0;
  for (; i + lanes <= count; i += lanes)
    for (std::size_t first = 0; first < frame_lanes; first += lanes) {
      Lanes block[lanes];
      for (std::size_t r = 0; r < lanes; ++r) block[r] = load(rows[first + r] + i);
      transpose(block);
      for (std::size_t j = 0; j < lanes; ++j) store(out + (i + j) * frame_lanes + first, block[j]);
    }
  for (; i < count; ++i)
    for (std::size_t r = 0; r < frame_lanes; ++r) out[i * frame_lanes + r] = rows[r][i];
}

[[gnu::always_inline]] inline RegBits bits_at(const float* at) {
  RegBits out;
  __builtin_memcpy(&out, at, sizeof out);
  return out;
}

// -1 times the number of values below `limit`, per lane.
[[gnu::always_inline]] inline RegBits less_below(const float* from, std::size_t count, RegBits limit) {
  RegBits a{}, b{}, c{}, d{};
  std::size_t k = 0;
  for (; k + 4 <= count; k += 4, from += 4 * frame_lanes) {
    a += bits_at(from) < limit;
    b += bits_at(from + frame_lanes) < limit;
    c += bits_at(from + 2 * frame_lanes) < limit;
    d += bits_at(from + 3 * frame_lanes) < limit;
  }
  for (; k < count; ++k, from += frame_lanes) a += bits_at(from) < limit;
  return (a + b) + (c + d);
}

[[gnu::always_inline]] inline bool any(RegBits flags) {
  int all[reg_lanes], found = 0;
  __builtin_memcpy(all, &flags, sizeof all);
  for (const int flag : all) found |= flag;
  return found != 0;
}

// Calls use(which of four, k) for k < count: four sums, of which none waits for another.
template <class Use>
[[gnu::always_inline]] inline void by_fours(std::size_t count, const Use& use) {
  std::size_t k = 0;
  for (; k + 4 <= count; k += 4)
    for (std::size_t j = 0; j < 4; ++j) use(j, k + j);
  for (; k < count; ++k) use(0, k);
}

[[gnu::always_inline]] inline RegBits smaller(RegBits a, RegBits b) { return a < b ? a : b; }
[[gnu::always_inline]] inline RegBits larger(RegBits a, RegBits b) { return a > b ? a : b; }

[[gnu::always_inline]] inline void mean_and_largest(const float* from, std::size_t count, Reg& mean,
                                                    RegBits& largest) {
  Reg total[4] = {};
  RegBits most[4] = {};
  by_fours(count, [&](std::size_t j, std::size_t k) {
    const RegBits here = bits_at(from + k * frame_lanes);
    total[j] += reinterpret_cast<Reg>(here);
    most[j] = larger(most[j], here);
  });
  mean = ((total[0] + total[1]) + (total[2] + total[3])) * (1.0f / static_cast<float>(count));
  largest = larger(larger(most[0], most[1]), larger(most[2], most[3]));
}

// The smallest value that is not below `low`, and the largest that is below `high`.
[[gnu::always_inline]] inline void ends_within(const float* from, std::size_t count, RegBits low,
                                               RegBits high, RegBits& first, RegBits& last) {
  const RegBits largest = RegBits{} + 0x7f7fffff;
  RegBits least[4] = {largest, largest, largest, largest}, most[4] = {};
  by_fours(count, [&](std::size_t j, std::size_t k) {
    const RegBits a = bits_at(from + k * frame_lanes);
    least[j] = smaller(least[j], a >= low ? a : largest);
    most[j] = larger(most[j], a < high ? a : RegBits{});
  });
  first = smaller(smaller(least[0], least[1]), smaller(least[2], least[3]));
  last = larger(larger(most[0], most[1]), larger(most[2], most[3]));
}

// About the square root, to 4 %: half the exponent.
[[gnu::always_inline]] inline Reg rough_root(Reg x) {
  return reinterpret_cast<Reg>((reinterpret_cast<RegBits>(x) >> 1) + 0x1fbd1df5);
}

// Below this many means lie `below` of `count` exponentially distributed values.
[[gnu::always_inline]] inline Reg means_below(Reg below, float count) {
  const Reg left = count - below;
  return -logarithm((left > 0.5f ? left : Reg{} + 0.5f) * (1.0f / count));
}

// What to try after the mean's guess had `below` values below it: a little beyond `goal`, for the other end.
// Of narrow distributions it may have none or all; then the mean itself.
[[gnu::always_inline]] inline Reg second_try(Reg tried, Reg mean, Reg below, float goal, float count) {
  const Reg miss = goal - below, far = rough_root(miss < 0.0f ? -miss : miss) + 0.5f;
  const Reg there =
      tried * means_below(miss > 0.0f ? goal + far : goal - far, count) / means_below(below, count);
  return ((below > 0.0f) & (below < count)) ? there : mean;
}

// Which share of the way from `low` to `high` to try next: where the rank should lie, and beyond it a little,
// away from the nearer end, so that the ends are drawn in by turns.
[[gnu::always_inline]] inline Reg next_share(float goal, Reg below_low, Reg below_high) {
  const Reg held = below_high - below_low, sought = goal - below_low, half = held * 0.5f;
  const Reg beyond = rough_root(held) * 0.2f, up = sought + beyond, down = sought - beyond;
  const Reg above = up < half ? up : half, below = down > half ? down : half;
  return (sought < half ? above : below) / held;
}

// Floats that are not negative are in the order of their bits. Two ends are drawn together, `low` with at
// most `rank` values below it and `high` with more, until the value is the first or the last between them, or
// all there are equal. Every eighth time their bits are halved, whatever the values are. The first tries are
// those for noise, exponentially distributed. Of random values this takes a third of the turns that halving
// alone would.
void lane_ranked(const float* values, std::size_t count, std::size_t rank, float* out, float* above) {
  const RegBits most = RegBits{} + static_cast<int>(rank), largest = RegBits{} + 0x7f7fffff;
  const float all_of_them = static_cast<float>(count), goal = static_cast<float>(rank) + 0.5f;
  const Reg first_guess = means_below(Reg{} + goal, all_of_them);
  for (std::size_t first = 0; first < frame_lanes; first += reg_lanes) {
    const float* from = values + first;
    Reg mean;
    RegBits high;
    mean_and_largest(from, count, mean, high);
    high += 1;
    RegBits low{}, below_low{}, below_high = RegBits{} + static_cast<int>(count);
    RegBits tried = reinterpret_cast<RegBits>(mean * first_guess);
    for (int turn = 1; any((below_low < most) & (below_high - 1 > most) & (high - low > 1)); ++turn) {
      tried = larger(tried, low + 1);
      tried = smaller(tried, high - 1);
      const RegBits below = -less_below(from, count, tried);
      const RegBits keep = below <= most;
      low = keep ? tried : low;
      below_low = keep ? below : below_low;
      high = keep ? high : tried;
      below_high = keep ? below_high : below;
      const Reg bottom = reinterpret_cast<Reg>(low), top = reinterpret_cast<Reg>(high);
      const auto number = [](RegBits of) { return __builtin_convertvector(of, Reg); };
      const Reg there =
          turn == 1 ? second_try(reinterpret_cast<Reg>(tried), mean, number(below), goal, all_of_them)
                    : bottom + (top - bottom) * next_share(goal, number(below_low), number(below_high));
      tried = turn % 8 == 0 ? low + (high - low) / 2 : reinterpret_cast<RegBits>(there);
    }
    RegBits smallest, last;
    ends_within(from, count, low, high, smallest, last);
    const RegBits value = ((below_low < most) & (below_high - 1 == most)) ? last : smallest;
    __builtin_memcpy(out + first, &value, sizeof value);
    if (!above) continue;
    // How many are not above it, and the smallest beyond.
    RegBits not_above{}, next = largest;
    for (std::size_t k = 0; k < count; ++k) {
      const RegBits a = bits_at(from + k * frame_lanes), higher = a > value;
      not_above += 1 + higher;
      next = ((higher != 0) & (a < next)) ? a : next;
    }
    next = ((not_above > most + 1) | (next == largest)) ? value : next;
    __builtin_memcpy(above + first, &next, sizeof next);
  }
}

// Stores those of a register's values that are flagged (-1) side by side; how many.
[[gnu::always_inline]] inline std::size_t store_flagged(float* to, Reg values, RegBits flags) {
#ifdef __AVX512F__
  const __mmask16 mask = _mm512_movepi32_mask(reinterpret_cast<__m512i>(flags));
  store_reg(to, reinterpret_cast<Reg>(_mm512_maskz_compress_ps(mask, reinterpret_cast<__m512>(values))));
  return static_cast<std::size_t>(__builtin_popcount(mask));
#else
  float* const first = to;
  for (std::size_t j = 0; j < reg_lanes; ++j) {  // every value is written and stays where it belongs
    *to = values[j];
    to -= flags[j];
  }
  return static_cast<std::size_t>(to - first);
#endif
}

std::size_t keep_between(const float* values, std::size_t count, float low, float high, float* out,
                         std::size_t* below) {
  float* to = out;
  RegBits less{};
  std::size_t i = 0;
  for (; i + reg_lanes <= count; i += reg_lanes) {
    const Reg here = load_reg(values + i);
    less -= here < low;
    to += store_flagged(to, here, (here >= low) & (here <= high));
  }
  for (std::size_t j = 0; j < reg_lanes; ++j) *below += static_cast<std::size_t>(less[j]);
  for (; i < count; ++i) {
    const float here = values[i];
    *below += here < low;
    *to = here;
    to += here >= low && here <= high;
  }
  return static_cast<std::size_t>(to - out);
}

void over_background(const float* power, std::size_t bins, std::size_t step, const float* knots, float scale,
                     float most, int* places_at) {
  constexpr float tiny = 1e-20f;
  for (std::size_t k = 0; k < bins; ++k) {
    const float* before = knots + k / step * frame_lanes;
    const float u = static_cast<float>(k % step) / static_cast<float>(step);
    each_register([&](std::size_t lane) {
      const Reg from = load_reg(before + lane), to = load_reg(before + frame_lanes + lane);
      const Reg ratio = load_reg(power + k * frame_lanes + lane) / (from + u * (to - from) + tiny);
      const RegBits place = __builtin_convertvector(smaller(ratio * scale, Reg{} + most), RegBits);
      __builtin_memcpy(places_at + k * frame_lanes + lane, &place, sizeof place);
    });
  }
}

void convolve(const double* in, const double* kernel, std::size_t taps, std::size_t count, double* out) {
  constexpr std::size_t wide = reg_lanes / 2, at_once = 4;
  using Doubles [[gnu::vector_size(wide * sizeof(double))]] = double;
  std::size_t j = 0;
  for (; j + at_once * wide <= count; j += at_once * wide) {
    Doubles total[at_once] = {};
    for (std::size_t k = 0; k < taps; ++k)
      for (std::size_t i = 0; i < at_once; ++i) {
        Doubles here;
        __builtin_memcpy(&here, in + j + k + i * wide, sizeof here);
        total[i] += here * kernel[k];
      }
    __builtin_memcpy(out + j, total, sizeof total);
  }
  for (; j < count; ++j) {
    double total = 0.0;
    for (std::size_t k = 0; k < taps; ++k) total += kernel[k] * in[j + k];
    out[j] = total;
  }
}

void scaled_differences(const double* a, const double* b, std::size_t count, double scale, float* out) {
  for (std::size_t i = 0; i < count; ++i) out[i] = static_cast<float>((a[i] - b[i]) * scale);
}

void log_all(float* values, std::size_t count, float floor) {
  std::size_t i = 0;
  for (; i + reg_lanes <= count; i += reg_lanes)
    store_reg(values + i, logarithm(load_reg(values + i) + floor));
  float rest[reg_lanes];
  for (std::size_t k = 0; k < reg_lanes; ++k) rest[k] = i + k < count ? values[i + k] + floor : 1.0f;
  store_reg(rest, logarithm(load_reg(rest)));
  for (std::size_t k = 0; i + k < count; ++k) values[i + k] = rest[k];
}

}  // namespace

namespace GEARHARK_WIDE {
extern const Wide loops;
const Wide loops{tap_lanes,  transform,   real_frames,   frame_powers,    frame_moments,   unpack,
                 add_power,  two_pass,    real_two_pass, power_two_pass,  join_real,       sliding_dots,
                 within,     read_at,     read_along,    read_between,    complex_windows, block_sums,
                 interleave, lane_ranked, keep_between,  over_background, convolve,        scaled_differences,
                 log_all};
}  // namespace GEARHARK_WIDE

}  // namespace gearhark
