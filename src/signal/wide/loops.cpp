// Compiled once per instruction set, each time with GEARHARK_WIDE naming the namespace of the result.
#include "lane_math.hpp"
#include "wide.hpp"

namespace gearhark {
namespace {

constexpr std::size_t line = 2 * lanes;  // floats per eight complex numbers

// --- The transform: decimation in time, depth first so that short parts stay in the nearest cache. ---

// A register of complex numbers: with more than one register to a line each is worked through by itself, or
// there would not be enough of them.
struct Few {
  Part re, im;
};

[[gnu::always_inline]] inline Few operator+(Few a, Few b) { return {a.re + b.re, a.im + b.im}; }
[[gnu::always_inline]] inline Few operator-(Few a, Few b) { return {a.re - b.re, a.im - b.im}; }
[[gnu::always_inline]] inline Few operator*(Few a, float b) { return {a.re * b, a.im * b}; }
[[gnu::always_inline]] inline Few turned(Few a, const float* w) {
  return {a.re * w[0] - a.im * w[1], a.re * w[1] + a.im * w[0]};
}
[[gnu::always_inline]] inline Few times_i(Few a) { return {-a.im, a.re}; }

[[gnu::always_inline]] inline Few get_few(const float* at) {
  Few out;
  __builtin_memcpy(&out.re, at, sizeof out.re);
  __builtin_memcpy(&out.im, at + lanes, sizeof out.im);
  return out;
}
[[gnu::always_inline]] inline void put_few(float* at, Few value) {
  __builtin_memcpy(at, &value.re, sizeof value.re);
  __builtin_memcpy(at + lanes, &value.im, sizeof value.im);
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

// `count` transforms of p points that are step x count lines apart; a line further each, out side by side.
template <unsigned p>
void first_stages(const float* in, std::size_t step, std::size_t count, float* out) {
  for (std::size_t i = 0; i < count; ++i, in += step * line, out += p * line)
    for (std::size_t part = 0; part < lanes; part += part_lanes) {
      Few x[8];
      for (unsigned j = 0; j < p; ++j) x[j] = get_few(in + j * step * count * line + part);
      butterfly<p>(x);
      for (unsigned j = 0; j < p; ++j) put_few(out + j * line + part, x[j]);
    }
}

// Joins p transforms of m points that stand one after the other.
template <unsigned p>
void join(float* data, std::size_t m, const float* turns) {
  for (std::size_t k = 0; k < m; ++k, data += line, turns += 2 * (p - 1))
    for (std::size_t part = 0; part < lanes; part += part_lanes) {
      float* from = data + part;
      Few x[8];
      x[0] = get_few(from);
      for (unsigned j = 1; j < p; ++j) x[j] = turned(get_few(from + j * m * line), turns + 2 * (j - 1));
      butterfly<p>(x);
      for (unsigned j = 0; j < p; ++j) put_few(from + j * m * line, x[j]);
    }
}

void first_stages(unsigned p, const float* in, std::size_t step, std::size_t count, float* out) {
  switch (p) {
    case 2:
      return first_stages<2>(in, step, count, out);
    case 3:
      return first_stages<3>(in, step, count, out);
    case 4:
      return first_stages<4>(in, step, count, out);
    case 5:
      return first_stages<5>(in, step, count, out);
    case 8:
      return first_stages<8>(in, step, count, out);
    default:
      return first_stages<1>(in, step, count, out);
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

void transform_part(const LanePlanView& plan, std::size_t stage, std::size_t n, const float* in,
                    std::size_t step, float* out) {
  const unsigned p = plan.radices[stage];
  const std::size_t m = n / p;
  if (m == 1) return first_stages(p, in, step, 1, out);
  if (m == plan.radices[stage + 1])
    first_stages(static_cast<unsigned>(m), in, step, p, out);
  else
    for (unsigned j = 0; j < p; ++j)
      transform_part(plan, stage + 1, m, in + j * step * line, step * p, out + j * m * line);
  join(p, out, m, plan.turns[stage]);
}

void transform(const LanePlanView& plan, const float* in, float* out) {
  transform_part(plan, 0, plan.length, in, 1, out);
}

// --- Real frames: even samples as real parts, odd as imaginary, taken apart afterwards. ---

void gather_frames(const float* const* frames, const float* weights, std::size_t used, std::size_t length,
                   float* out) {
  std::size_t i = 0;
  for (; i + lanes <= used; i += lanes) {
    const Lanes w = load(weights + i);
    Lanes rows[lanes];
    for (std::size_t f = 0; f < lanes; ++f) rows[f] = load(frames[f] + i) * w;
    transpose(rows);
    for (std::size_t j = 0; j < lanes; ++j) store(out + (i + j) * lanes, rows[j]);
  }
  for (; i < used; ++i)
    for (std::size_t f = 0; f < lanes; ++f) out[i * lanes + f] = frames[f][i] * weights[i];
  __builtin_memset(out + used * lanes, 0, (length - used) * lanes * sizeof(float));
}

// X[k] = E + W O, X[n-k] = conj(E - W O), with E, O the spectra of the even and odd samples in z's bins.
void split_real(float* bins, std::size_t n, const float* turns) {
  const Complex z = get(bins);
  put(bins, {z.re + z.im, Lanes{}});
  put(bins + n * line, {z.re - z.im, Lanes{}});
  for (std::size_t k = 1; 2 * k <= n; ++k) {
    const Complex a = get(bins + k * line), b = get(bins + (n - k) * line);
    const Complex even{(a.re + b.re) * 0.5f, (a.im - b.im) * 0.5f};
    const Complex odd = turned({(a.im + b.im) * 0.5f, (b.re - a.re) * 0.5f}, turns + 2 * k);
    put(bins + k * line, even + odd);
    put(bins + (n - k) * line, {even.re - odd.re, odd.im - even.im});
  }
}

// Calls use(k, |X[k]|^2) for k = 0..n of such bins, left as they are.
template <class Use>
[[gnu::always_inline]] inline void split_power(const float* bins, std::size_t n, const float* turns,
                                               const Use& use) {
  const Complex z = get(bins);
  use(0, (z.re + z.im) * (z.re + z.im));
  use(n, (z.re - z.im) * (z.re - z.im));
  std::size_t k = 1;
  for (; 2 * k < n; ++k) {
    const Complex a = get(bins + k * line), b = get(bins + (n - k) * line);
    const Complex even{(a.re + b.re) * 0.5f, (a.im - b.im) * 0.5f};
    const Complex odd = turned({(a.im + b.im) * 0.5f, (b.re - a.re) * 0.5f}, turns + 2 * k);
    const Complex sum = even + odd, less = even - odd;
    use(k, sum.re * sum.re + sum.im * sum.im);
    use(n - k, less.re * less.re + less.im * less.im);
  }
  if (2 * k == n) {
    const Complex middle = get(bins + k * line);
    use(k, middle.re * middle.re + middle.im * middle.im);
  }
}

void real_frames(const LanePlanView& plan, const float* turns, const float* const* frames,
                 const float* weights, std::size_t used, float* in, float* out) {
  gather_frames(frames, weights, used, 2 * plan.length, in);
  transform(plan, in, out);
  split_real(out, plan.length, turns);
}

void frame_powers(const LanePlanView& plan, const float* turns, const float* const* frames,
                  const float* weights, std::size_t used, float* in, float* out, float* power) {
  gather_frames(frames, weights, used, 2 * plan.length, in);
  transform(plan, in, out);
  split_power(out, plan.length, turns, [&](std::size_t k, Lanes p) { store(power + k * lanes, p); });
}

void frame_moments(const LanePlanView& plan, const float* turns, const float* parts_of, std::size_t hop,
                   std::size_t count, const float* weights, std::size_t used, float* in, float* out,
                   float* second, float* fourth) {
  const std::size_t n = plan.length;
  __builtin_memset(in + used * lanes, 0, (2 * n - used) * lanes * sizeof(float));
  for (std::size_t f = 0; f < count; ++f, parts_of += hop * lanes) {
    for (std::size_t k = 0; k < used; ++k) store(in + k * lanes, load(parts_of + k * lanes) * weights[k]);
    transform(plan, in, out);
    split_power(out, n, turns, [&](std::size_t k, Lanes p) {
      store(second + k * lanes, load(second + k * lanes) + p);
      store(fourth + k * lanes, load(fourth + k * lanes) + p * p);
    });
  }
}

void unpack(const float* in, std::size_t bins, std::size_t count, float* out) {
  std::size_t k = 0;
  for (; k + lanes <= bins; k += lanes) {
    Lanes re[lanes], im[lanes];
    for (std::size_t j = 0; j < lanes; ++j) {
      re[j] = load(in + (k + j) * line);
      im[j] = load(in + (k + j) * line + lanes);
    }
    transpose(re);
    transpose(im);
    for (std::size_t f = 0; f < count; ++f) put_pairs(out + 2 * (f * bins + k), {re[f], im[f]});
  }
  for (; k < bins; ++k)
    for (std::size_t f = 0; f < count; ++f) {
      out[2 * (f * bins + k)] = in[k * line + f];
      out[2 * (f * bins + k) + 1] = in[k * line + lanes + f];
    }
}

void add_power(const float* in, std::size_t bins, std::size_t count, float* power) {
  float ones[lanes] = {};
  for (std::size_t f = 0; f < count; ++f) ones[f] = 1.0f;
  const Lanes counted = load(ones);
  for (std::size_t k = 0; k < bins; ++k) {
    const Complex x = get(in + k * line);
    power[k] += sum(counted * (x.re * x.re + x.im * x.im));
  }
}

// --- Long transforms: columns eight at a time, turned, then rows eight at a time. Every access to the long
// arrays is a whole cache line. An inverse is the same with real and imaginary parts exchanged. ---

[[gnu::always_inline]] inline std::size_t least(std::size_t a, std::size_t b) { return a < b ? a : b; }

[[gnu::always_inline]] inline Complex exchanged(Complex a, bool inverse) {
  return inverse ? Complex{a.im, a.re} : a;
}

// Lane l of line k times W_length^((first + l) k), as W^(first k), by repeated multiplication in double
// precision, times W^(l k).
void turn_columns(const TwoPassPlan& plan, const float* from, float* to, std::size_t first) {
  const double angle = -6.283185307179586477 * static_cast<double>(first) / static_cast<double>(plan.length);
  const double step_re = __builtin_cos(angle), step_im = __builtin_sin(angle);
  double re = 1.0, im = 0.0;
  for (std::size_t k = 0; k < plan.column.length; ++k) {
    const float both[2] = {static_cast<float>(re), static_cast<float>(im)};
    put(to + k * line, turned(get(from + k * line) * get(plan.lane_turns + k * line), both));
    const double next = re * step_re - im * step_im;
    im = re * step_im + im * step_re;
    re = next;
  }
}

// Neighbouring lines of the long arrays are read and written together, or each would cost a look into the
// tables of pages.
constexpr std::size_t together = two_pass_blocks;

// `out` then holds, block by block of eight columns, a line for each row.
void columns_pass(const TwoPassPlan& plan, const float* in, float* out) {
  const std::size_t rows = plan.column.length, columns = plan.row.length;
  for (std::size_t first = 0; first < columns; first += together * lanes) {
    const std::size_t blocks = least(together, (columns - first) / lanes);
    for (std::size_t r = 0; r < rows; ++r)
      for (std::size_t i = 0; i < blocks; ++i)
        put(plan.a + (i * rows + r) * line,
            exchanged(get_pairs(in + 2 * (r * columns + first + i * lanes)), plan.inverse));
    for (std::size_t i = 0; i < blocks; ++i, out += rows * line) {
      transform(plan.column, plan.a + i * rows * line, plan.b);
      turn_columns(plan, plan.b, out, first + i * lanes);
    }
  }
}

// The transform of eight rows, one a lane, of what columns_pass() leaves.
void transform_rows(const TwoPassPlan& plan, const float* in, const std::size_t (&row)[lanes], float* out) {
  const std::size_t rows = plan.column.length, columns = plan.row.length;
  for (std::size_t c = 0; c < columns; c += lanes, in += rows * line) {
    Lanes re[lanes], im[lanes];
    for (std::size_t j = 0; j < lanes; ++j) {
      const Complex block = get(in + row[j] * line);
      re[j] = block.re;
      im[j] = block.im;
    }
    transpose(re);
    transpose(im);
    for (std::size_t j = 0; j < lanes; ++j) put(plan.a + (c + j) * line, {re[j], im[j]});
  }
  transform(plan.row, plan.a, out);
}

void two_pass(const TwoPassPlan& plan, const float* in, float* between, float* out) {
  const std::size_t rows = plan.column.length, columns = plan.row.length;
  columns_pass(plan, in, between);
  for (std::size_t r = 0; r < rows; r += together * lanes) {
    const std::size_t blocks = least(together, (rows - r) / lanes);
    for (std::size_t i = 0; i < blocks; ++i) {
      std::size_t row[lanes];
      for (std::size_t j = 0; j < lanes; ++j) row[j] = r + i * lanes + j;
      transform_rows(plan, between, row, plan.b + i * columns * line);
    }
    for (std::size_t c = 0; c < columns; ++c)
      for (std::size_t i = 0; i < blocks; ++i)
        put_pairs(out + 2 * (c * rows + r + i * lanes),
                  exchanged(get(plan.b + (i * columns + c) * line), plan.inverse));
  }
}

// --- Long real transforms: of half the length, even samples as real parts, odd as imaginary, taken apart as
// in split_real(). Bin k = row + rows column has its mate in row rows - row, column columns - 1 - column; in
// row 0, in column columns - column. ---

// W^k for eight rows from r on, r a multiple of 8, and one column, W that of the real length.
[[gnu::always_inline]] inline Complex real_turns(const RealPlan& plan, std::size_t r, std::size_t c) {
  return turned(get(plan.row_turns + r / lanes * line), plan.column_turns + 2 * c);
}

// The bins of row 0 and of the row in the middle, which are their own mates; lanes 0 and 1 of `lines`.
void split_own_mates(const RealPlan& plan, const float* lines, float* out) {
  const std::size_t rows = plan.half.column.length, columns = plan.half.row.length;
  for (std::size_t lane = 0; lane < 2; ++lane) {
    const std::size_t row = lane * rows / 2;
    for (std::size_t c = 0; c < columns; ++c) {
      const float* a = lines + c * line + lane;
      const float* b = lines + (lane == 0 ? (columns - c) % columns : columns - 1 - c) * line + lane;
      const float even_re = 0.5f * (a[0] + b[0]), even_im = 0.5f * (a[lanes] - b[lanes]);
      const float odd_re = 0.5f * (a[lanes] + b[lanes]), odd_im = 0.5f * (b[0] - a[0]);
      const float* w = plan.row_turns + row / lanes * line + row % lanes;
      const float* v = plan.column_turns + 2 * c;
      const float re = w[0] * v[0] - w[lanes] * v[1], im = w[0] * v[1] + w[lanes] * v[0];
      out[2 * (row + rows * c)] = even_re + odd_re * re - odd_im * im;
      out[2 * (row + rows * c) + 1] = even_im + odd_re * im + odd_im * re;
    }
  }
  const std::size_t last = 2 * rows * columns;
  out[last] = lines[0] - lines[lanes];
  out[last + 1] = 0.0f;
}

// Bins k and their mates, of the eight rows from r on; a, b: a line each of what stands in both.
[[gnu::always_inline]] inline void split_rows(const RealPlan& plan, std::size_t r, std::size_t c,
                                              const float* at, const float* mate, float* out) {
  const std::size_t rows = plan.half.column.length, columns = plan.half.row.length;
  const Complex a = get(at), b = get(mate);
  const Complex even{(a.re + b.re) * 0.5f, (a.im - b.im) * 0.5f};
  const Complex odd = Complex{(a.im + b.im) * 0.5f, (b.re - a.re) * 0.5f} * real_turns(plan, r, c);
  put_pairs(out + 2 * (rows * c + r), even + odd);
  put_pairs(out + 2 * (rows * (columns - c) - r - (lanes - 1)),
            {reversed(even.re - odd.re), reversed(odd.im - even.im)});
}

void real_two_pass(const RealPlan& plan, const float* in, float* between, float* out) {
  const TwoPassPlan& half = plan.half;
  const std::size_t rows = half.column.length, columns = half.row.length;
  float* const mates = half.b + together / 2 * columns * line;
  columns_pass(half, in, between);
  for (std::size_t first = 0; first < rows / 2; first += together / 2 * lanes) {
    const std::size_t blocks = least(together / 2, (rows / 2 - first + lanes - 1) / lanes);
    for (std::size_t i = 0; i < blocks; ++i) {
      std::size_t row[lanes], mate[lanes];
      for (std::size_t j = 0; j < lanes; ++j) {
        row[j] = first + i * lanes + j;
        mate[j] = row[j] == 0 ? 0 : rows - row[j];
      }
      transform_rows(half, between, row, half.b + i * columns * line);
      transform_rows(half, between, mate, mates + i * columns * line);
    }
    for (std::size_t c = 0; c < columns; ++c)
      for (std::size_t i = 0; i < blocks; ++i)
        split_rows(plan, first + i * lanes, c, half.b + (i * columns + c) * line,
                   mates + (i * columns + columns - 1 - c) * line, out);
  }
  const std::size_t own[lanes] = {0, rows / 2};
  transform_rows(half, between, own, half.b);
  split_own_mates(plan, half.b, out);
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

float dot(const float* a, const float* b, std::size_t taps) {
  Lanes even{}, odd{};
  std::size_t k = 0;
  for (; k + 2 * lanes <= taps; k += 2 * lanes) {
    even = even + load(a + k) * load(b + k);
    odd = odd + load(a + k + lanes) * load(b + k + lanes);
  }
  if (k < taps) even = even + load(a + k) * load(b + k);
  return sum(even + odd);
}

// As many at once as there are registers for.
void sliding_dots(const float* x, std::size_t hop, std::size_t count, const float* weights, std::size_t taps,
                  float* out, std::size_t apart) {
  constexpr std::size_t at_once = lanes / parts;
  std::size_t i = 0;
  for (; i + at_once <= count; i += at_once, x += at_once * hop) {
    Lanes total[lanes] = {};
    for (std::size_t k = 0; k < taps; k += lanes) {
      const Lanes w = load(weights + k);
      for (std::size_t j = 0; j < at_once; ++j) total[j] = total[j] + load(x + j * hop + k) * w;
    }
    float sum_of[lanes];
    store(sum_of, sums(total));
    for (std::size_t j = 0; j < at_once; ++j) out[(i + j) * apart] = sum_of[j];
  }
  for (; i < count; ++i, x += hop) out[i * apart] = dot(x, weights, taps);
}

// Where a signal is read eight times: from sample `whole` on, with this row of a table, and how far towards
// the next row.
struct Places {
  int whole[lanes], row[lanes];
  float part[lanes];
};

[[gnu::always_inline]] inline Places places(const double* position, double scale, double shift,
                                            std::size_t rows) {
  Places out;
  double fine[lanes];
  const auto fineness = static_cast<double>(rows);
  for (std::size_t j = 0; j < lanes; ++j) {
    const double at = position[j] * scale + shift;
    out.whole[j] = static_cast<int>(at);
    fine[j] = (at - static_cast<double>(out.whole[j])) * fineness;
  }
  for (std::size_t j = 0; j < lanes; ++j) {
    out.row[j] = static_cast<int>(fine[j]);
    out.part[j] = static_cast<float>(fine[j] - static_cast<double>(out.row[j]));
  }
  return out;
}

// Calls use(eight positions, first output, how many) over `count` of them; the last is repeated.
template <class Use>
[[gnu::always_inline]] inline void eight_by_eight(const double* position, std::size_t count, const Use& use) {
  std::size_t i = 0;
  for (; i + lanes <= count; i += lanes) use(position + i, i, lanes);
  if (i == count) return;
  double rest[lanes];
  for (std::size_t j = 0; j < lanes; ++j) rest[j] = position[i + j < count ? i + j : count - 1];
  use(rest, i, count - i);
}

[[gnu::always_inline]] inline void store_first(float* to, Lanes values, std::size_t count) {
  if (count == lanes) return store(to, values);
  float all_of[lanes];
  store(all_of, values);
  for (std::size_t j = 0; j < count; ++j) to[j] = all_of[j];
}

void read_at(const float* x, const double* position, std::size_t count, const float* table, std::size_t taps,
             std::size_t rows, float* out) {
  eight_by_eight(position, count, [&](const double* from, std::size_t first, std::size_t held) {
    const Places at = places(from, 1.0, 0.0, rows);
    Lanes total[lanes];
    for (std::size_t j = 0; j < lanes; ++j) {
      const float* samples = x + at.whole[j];
      const float* weights = table + static_cast<std::size_t>(at.row[j] + (at.part[j] >= 0.5f)) * taps;
      total[j] = Lanes{};
      for (std::size_t k = 0; k < taps; k += lanes)
        total[j] = total[j] + load(samples + k) * load(weights + k);
    }
    store_first(out + first, sums(total), held);
  });
}

[[gnu::always_inline]] inline void read_between_with(const float* x, const double* position, double scale,
                                                     double shift, std::size_t count, const float* table,
                                                     std::size_t taps, std::size_t rows, float* out) {
  eight_by_eight(position, count, [&](const double* from, std::size_t first, std::size_t held) {
    const Places at = places(from, scale, shift, rows);
    Lanes total[lanes];
    for (std::size_t j = 0; j < lanes; ++j) {
      const float* samples = x + at.whole[j];
      const float* weights = table + static_cast<std::size_t>(at.row[j]) * taps;
      Lanes low{}, high{};
      for (std::size_t k = 0; k < taps; k += lanes) {
        const Lanes here = load(samples + k);
        low = low + here * load(weights + k);
        high = high + here * load(weights + taps + k);
      }
      total[j] = low + (high - low) * at.part[j];
    }
    store_first(out + first, sums(total), held);
  });
}

void read_between(const float* x, const double* position, double scale, double shift, std::size_t count,
                  const float* table, std::size_t taps, std::size_t rows, float* out) {
  if (taps == 32) return read_between_with(x, position, scale, shift, count, table, 32, rows, out);
  if (taps == 40) return read_between_with(x, position, scale, shift, count, table, 40, rows, out);
  read_between_with(x, position, scale, shift, count, table, taps, rows, out);
}

bool within(const double* values, std::size_t count, double low, double high, double least_step,
            double most_step) {
  constexpr std::size_t wide = part_lanes / 2;
  using Doubles [[gnu::vector_size(wide * sizeof(double))]] = double;
  using Flags [[gnu::vector_size(wide * sizeof(double))]] = long;
  const Doubles bottom = Doubles{} + low, top = Doubles{} + high;
  const Doubles least = Doubles{} + least_step, most = Doubles{} + most_step;
  Flags fine = Flags{} - 1;
  std::size_t i = 0;
  for (; i + wide < count; i += wide) {
    Doubles here, next;
    __builtin_memcpy(&here, values + i, sizeof here);
    __builtin_memcpy(&next, values + i + 1, sizeof next);
    Doubles step = next - here;
    step = step < 0.0 ? -step : step;
    fine &= (here >= bottom) & (here <= top) & (step >= least) & (step <= most);
  }
  bool all_fine = true;
  for (std::size_t j = 0; j < wide; ++j) all_fine = all_fine && fine[j] != 0;
  for (; i < count; ++i) {
    all_fine = all_fine && values[i] >= low && values[i] <= high;
    const double step = i + 1 < count ? __builtin_fabs(values[i + 1] - values[i]) : least_step;
    all_fine = all_fine && step >= least_step && step <= most_step;
  }
  return all_fine;
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
  for (; i + lanes <= count; i += lanes) {
    Lanes block[lanes];
    for (std::size_t r = 0; r < lanes; ++r) block[r] = load(rows[r] + i);
    transpose(block);
    for (std::size_t j = 0; j < lanes; ++j) store(out + (i + j) * lanes, block[j]);
  }
  for (; i < count; ++i)
    for (std::size_t r = 0; r < lanes; ++r) out[i * lanes + r] = rows[r][i];
}

[[gnu::always_inline]] inline Bits bits_at(const float* at) {
  Bits out;
  __builtin_memcpy(&out, at, sizeof out);
  return out;
}

// -1 times the number of values below `limit`, per lane.
[[gnu::always_inline]] inline Bits less_below(const float* from, std::size_t count, Bits limit) {
  Bits a{}, b{}, c{}, d{};
  std::size_t k = 0;
  for (; k + 4 <= count; k += 4, from += 4 * lanes) {
    a += bits_at(from) < limit;
    b += bits_at(from + lanes) < limit;
    c += bits_at(from + 2 * lanes) < limit;
    d += bits_at(from + 3 * lanes) < limit;
  }
  for (; k < count; ++k, from += lanes) a += bits_at(from) < limit;
  return (a + b) + (c + d);
}

[[gnu::always_inline]] inline bool any(Bits flags) {
  int all[part_lanes], found = 0;
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

[[gnu::always_inline]] inline Part mean_of(const float* from, std::size_t count) {
  Part total[4] = {};
  by_fours(count, [&](std::size_t j, std::size_t k) {
    Part here;
    __builtin_memcpy(&here, from + k * lanes, sizeof here);
    total[j] += here;
  });
  return ((total[0] + total[1]) + (total[2] + total[3])) * (1.0f / static_cast<float>(count));
}

[[gnu::always_inline]] inline Bits smaller(Bits a, Bits b) { return a < b ? a : b; }

// The smallest value that is not below `low`.
[[gnu::always_inline]] inline Bits smallest_from(const float* from, std::size_t count, Bits low) {
  const Bits largest = Bits{} + 0x7f7fffff;
  Bits least[4] = {largest, largest, largest, largest};
  by_fours(count, [&](std::size_t j, std::size_t k) {
    const Bits a = bits_at(from + k * lanes);
    least[j] = smaller(least[j], a >= low ? a : largest);
  });
  return smaller(smaller(least[0], least[1]), smaller(least[2], least[3]));
}

// About the square root, to 4 %: half the exponent.
[[gnu::always_inline]] inline Part rough_root(Part x) {
  return reinterpret_cast<Part>((reinterpret_cast<Bits>(x) >> 1) + 0x1fbd1df5);
}

// Which share of the way from `low` to `high` to try next: where the rank should lie, and beyond it a little,
// away from the nearer end, so that the ends are drawn in by turns.
[[gnu::always_inline]] inline Part next_share(Bits most, Bits below_low, Bits below_high) {
  const Part held = __builtin_convertvector(below_high - below_low, Part);
  const Part sought = __builtin_convertvector(most - below_low, Part) + 0.5f, half = held * 0.5f;
  const Part beyond = rough_root(held) * 0.25f, up = sought + beyond, down = sought - beyond;
  const Part above = up < half ? up : half, below = down > half ? down : half;
  return (sought < half ? above : below) / held;
}

// Floats that are not negative are in the order of their bits. Two ends are drawn together, `low` with at
// most `rank` values below it and `high` with more, until one value is left between them or none but equal
// ones. Every eighth time their bits are halved, whatever the values are. The first try is the mean. Of
// random values this takes half the turns that halving alone would.
void lane_ranked(const float* values, std::size_t count, std::size_t rank, float* out, float* above) {
  const Bits most = Bits{} + static_cast<int>(rank), largest = Bits{} + 0x7f7fffff;
  for (std::size_t i = 0; i < parts; ++i) {
    const float* from = values + i * part_lanes;
    Bits low{}, below_low{}, high = largest + 1, below_high = Bits{} + static_cast<int>(count);
    Bits tried = reinterpret_cast<Bits>(mean_of(from, count));
    for (int turn = 1; any((below_high - below_low > 1) & (high - low > 1)); ++turn) {
      tried = tried > low ? tried : low + 1;
      tried = tried < high ? tried : high - 1;
      const Bits below = -less_below(from, count, tried);
      const Bits keep = below <= most;
      low = keep ? tried : low;
      below_low = keep ? below : below_low;
      high = keep ? high : tried;
      below_high = keep ? below_high : below;
      const Part bottom = reinterpret_cast<Part>(low), top = reinterpret_cast<Part>(high);
      const Part there = bottom + (top - bottom) * next_share(most, below_low, below_high);
      tried = turn % 8 == 0 ? low + (high - low) / 2 : reinterpret_cast<Bits>(there);
    }
    // The smallest value from there on, how many are equal to it, and the smallest beyond.
    const Bits value = smallest_from(from, count, low);
    __builtin_memcpy(out + i * part_lanes, &value, sizeof value);
    if (!above) continue;
    Bits not_above{}, next = largest;
    for (std::size_t k = 0; k < count; ++k) {
      const Bits a = bits_at(from + k * lanes), higher = a > value;
      not_above += 1 + higher;
      next = ((higher != 0) & (a < next)) ? a : next;
    }
    next = ((not_above > most + 1) | (next == largest)) ? value : next;
    __builtin_memcpy(above + i * part_lanes, &next, sizeof next);
  }
}

void log_all(float* values, std::size_t count, float floor) {
  std::size_t i = 0;
  for (; i + lanes <= count; i += lanes) store(values + i, logarithm(load(values + i) + all(floor)));
  float rest[lanes];
  for (std::size_t k = 0; k < lanes; ++k) rest[k] = i + k < count ? values[i + k] + floor : 1.0f;
  store(rest, logarithm(load(rest)));
  for (std::size_t k = 0; i + k < count; ++k) values[i + k] = rest[k];
}

}  // namespace

namespace GEARHARK_WIDE {
extern const Wide loops;
const Wide loops{transform,    real_frames,     frame_powers, frame_moments, unpack,      add_power,
                 two_pass,     real_two_pass,   join_real,    sliding_dots,  within,      read_at,
                 read_between, complex_windows, block_sums,   interleave,    lane_ranked, log_all};
}  // namespace GEARHARK_WIDE

}  // namespace gearhark
