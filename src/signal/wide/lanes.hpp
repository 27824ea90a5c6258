// Eight floats worked on at once, in whatever registers the file that includes this is compiled for.
// No name here may be seen by the linker: the same source is compiled for several instruction sets, and a
// function made for the widest must not be called on a machine that lacks it. For the same reason nothing
// from the standard library that is a template or inline may be used beside it.
#pragma once

#include <cstddef>

namespace gearhark {
namespace {

constexpr std::size_t lanes = 8;

// As wide as the registers: compilers take wider vectors to pieces badly. No vector crosses a function that
// is not inlined, so no call depends on how vectors are passed.
#ifdef __AVX2__
constexpr std::size_t part_lanes = 8;
#else
constexpr std::size_t part_lanes = 4;
#endif
constexpr std::size_t parts = lanes / part_lanes;
using Part [[gnu::vector_size(part_lanes * sizeof(float))]] = float;

// The widest register; what works on memory alone, lane by lane, works on these.
#ifdef __AVX512F__
constexpr std::size_t reg_lanes = 16;
#else
constexpr std::size_t reg_lanes = part_lanes;
#endif
using Reg [[gnu::vector_size(reg_lanes * sizeof(float))]] = float;

[[gnu::always_inline]] inline Reg load_reg(const float* from) {
  Reg out;
  __builtin_memcpy(&out, from, sizeof out);
  return out;
}
[[gnu::always_inline]] inline void store_reg(float* to, Reg values) {
  __builtin_memcpy(to, &values, sizeof values);
}

struct Lanes {
  Part part[parts];
};

[[gnu::always_inline]] inline Lanes load(const float* from) {
  Lanes out;
  __builtin_memcpy(&out, from, sizeof out);
  return out;
}

[[gnu::always_inline]] inline void store(float* to, Lanes values) {
  __builtin_memcpy(to, &values, sizeof values);
}

[[gnu::always_inline]] inline Lanes operator+(Lanes a, Lanes b) {
  for (std::size_t i = 0; i < parts; ++i) a.part[i] += b.part[i];
  return a;
}
[[gnu::always_inline]] inline Lanes operator-(Lanes a, Lanes b) {
  for (std::size_t i = 0; i < parts; ++i) a.part[i] -= b.part[i];
  return a;
}
[[gnu::always_inline]] inline Lanes operator*(Lanes a, Lanes b) {
  for (std::size_t i = 0; i < parts; ++i) a.part[i] *= b.part[i];
  return a;
}
[[gnu::always_inline]] inline Lanes operator*(Lanes a, float b) {
  for (std::size_t i = 0; i < parts; ++i) a.part[i] *= b;
  return a;
}
[[gnu::always_inline]] inline Lanes operator-(Lanes a) {
  for (std::size_t i = 0; i < parts; ++i) a.part[i] = -a.part[i];
  return a;
}

// Eight complex numbers, one a lane.
struct Complex {
  Lanes re, im;
};

[[gnu::always_inline]] inline Complex operator+(Complex a, Complex b) { return {a.re + b.re, a.im + b.im}; }
[[gnu::always_inline]] inline Complex operator-(Complex a, Complex b) { return {a.re - b.re, a.im - b.im}; }
[[gnu::always_inline]] inline Complex operator*(Complex a, Complex b) {
  return {a.re * b.re - a.im * b.im, a.re * b.im + a.im * b.re};
}
[[gnu::always_inline]] inline Complex operator*(Complex a, float b) { return {a.re * b, a.im * b}; }
// By the one complex number at w.
[[gnu::always_inline]] inline Complex turned(Complex a, const float* w) {
  return {a.re * w[0] - a.im * w[1], a.re * w[1] + a.im * w[0]};
}
[[gnu::always_inline]] inline Complex times_i(Complex a) { return {-a.im, a.re}; }

// Below: get_pairs() and put_pairs() for the usual form in memory, 8 pairs of real and imaginary part;
// transpose(): lane j of row i becomes lane i of row j; sum() of all lanes; sums(): sum() of row i in lane i;
// reversed(): last lane first.
#ifdef __AVX2__

[[gnu::always_inline]] inline Complex get_pairs(const float* at) {
  const Part a = load(at).part[0], b = load(at + lanes).part[0];
  return {{__builtin_shufflevector(a, b, 0, 2, 4, 6, 8, 10, 12, 14)},
          {__builtin_shufflevector(a, b, 1, 3, 5, 7, 9, 11, 13, 15)}};
}

[[gnu::always_inline]] inline void put_pairs(float* at, Complex value) {
  const Part re = value.re.part[0], im = value.im.part[0];
  store(at, {__builtin_shufflevector(re, im, 0, 8, 1, 9, 2, 10, 3, 11)});
  store(at + lanes, {__builtin_shufflevector(re, im, 4, 12, 5, 13, 6, 14, 7, 15)});
}

[[gnu::always_inline]] inline void transpose(Lanes (&rows)[lanes]) {
  Part r[lanes], t[lanes];
  for (int i = 0; i < 8; i += 2) {
    const Part a = rows[i].part[0], b = rows[i + 1].part[0];
    t[i] = __builtin_shufflevector(a, b, 0, 8, 2, 10, 4, 12, 6, 14);
    t[i + 1] = __builtin_shufflevector(a, b, 1, 9, 3, 11, 5, 13, 7, 15);
  }
  for (int i = 0; i < 8; i += 4)
    for (int j = i; j < i + 2; ++j) {
      r[j] = __builtin_shufflevector(t[j], t[j + 2], 0, 1, 8, 9, 4, 5, 12, 13);
      r[j + 2] = __builtin_shufflevector(t[j], t[j + 2], 2, 3, 10, 11, 6, 7, 14, 15);
    }
  for (int j = 0; j < 4; ++j) {
    rows[j].part[0] = __builtin_shufflevector(r[j], r[j + 4], 0, 1, 2, 3, 8, 9, 10, 11);
    rows[j + 4].part[0] = __builtin_shufflevector(r[j], r[j + 4], 4, 5, 6, 7, 12, 13, 14, 15);
  }
}

[[gnu::always_inline]] inline float sum(Lanes v) {
  const Part a = v.part[0];
  return ((a[0] + a[4]) + (a[2] + a[6])) + ((a[1] + a[5]) + (a[3] + a[7]));
}

[[gnu::always_inline]] inline Lanes sums(const Lanes (&rows)[lanes]) {
  Part halves[4], quarters[2];
  for (int i = 0; i < 4; ++i) {
    const Part a = rows[i].part[0], b = rows[i + 4].part[0];
    halves[i] = __builtin_shufflevector(a, b, 0, 1, 2, 3, 8, 9, 10, 11) +
                __builtin_shufflevector(a, b, 4, 5, 6, 7, 12, 13, 14, 15);
  }
  for (int i = 0; i < 2; ++i) {
    const Part a = halves[2 * i], b = halves[2 * i + 1];
    quarters[i] = __builtin_shufflevector(a, b, 0, 1, 8, 9, 4, 5, 12, 13) +
                  __builtin_shufflevector(a, b, 2, 3, 10, 11, 6, 7, 14, 15);
  }
  return {__builtin_shufflevector(quarters[0], quarters[1], 0, 2, 8, 10, 4, 6, 12, 14) +
          __builtin_shufflevector(quarters[0], quarters[1], 1, 3, 9, 11, 5, 7, 13, 15)};
}

[[gnu::always_inline]] inline Lanes reversed(Lanes v) {
  return {__builtin_shufflevector(v.part[0], v.part[0], 7, 6, 5, 4, 3, 2, 1, 0)};
}

#ifndef __AVX512F__
[[gnu::always_inline]] inline float sum(Reg a) { return sum(Lanes{a}); }
#else
[[gnu::always_inline]] inline float sum(Reg a) {
  return sum(Lanes{__builtin_shufflevector(a, a, 0, 1, 2, 3, 4, 5, 6, 7) +
                   __builtin_shufflevector(a, a, 8, 9, 10, 11, 12, 13, 14, 15)});
}

[[gnu::always_inline]] inline Lanes sums(const Reg (&rows)[lanes]) {
  Reg halves[4], quarters[2];  // rows i and i + 4, then those of two such pairs, a quarter of a register each
  for (int i = 0; i < 4; ++i) {
    const Reg a = rows[i], b = rows[i + 4];
    halves[i] = __builtin_shufflevector(a, b, 0, 1, 2, 3, 4, 5, 6, 7, 16, 17, 18, 19, 20, 21, 22, 23) +
                __builtin_shufflevector(a, b, 8, 9, 10, 11, 12, 13, 14, 15, 24, 25, 26, 27, 28, 29, 30, 31);
  }
  for (int i = 0; i < 2; ++i) {
    const Reg a = halves[i], b = halves[i + 2];
    quarters[i] = __builtin_shufflevector(a, b, 0, 1, 2, 3, 8, 9, 10, 11, 16, 17, 18, 19, 24, 25, 26, 27) +
                  __builtin_shufflevector(a, b, 4, 5, 6, 7, 12, 13, 14, 15, 20, 21, 22, 23, 28, 29, 30, 31);
  }
  const Reg a = quarters[0], b = quarters[1];
  const Reg pairs = __builtin_shufflevector(a, b, 0, 2, 16, 18, 4, 6, 20, 22, 8, 10, 24, 26, 12, 14, 28, 30) +
                    __builtin_shufflevector(a, b, 1, 3, 17, 19, 5, 7, 21, 23, 9, 11, 25, 27, 13, 15, 29, 31);
  return {__builtin_shufflevector(pairs, pairs, 0, 2, 8, 10, 4, 6, 12, 14) +
          __builtin_shufflevector(pairs, pairs, 1, 3, 9, 11, 5, 7, 13, 15)};
}
#endif

#else

[[gnu::always_inline]] inline Complex get_pairs(const float* at) {
  const Lanes low = load(at), high = load(at + lanes);
  return {{__builtin_shufflevector(low.part[0], low.part[1], 0, 2, 4, 6),
           __builtin_shufflevector(high.part[0], high.part[1], 0, 2, 4, 6)},
          {__builtin_shufflevector(low.part[0], low.part[1], 1, 3, 5, 7),
           __builtin_shufflevector(high.part[0], high.part[1], 1, 3, 5, 7)}};
}

[[gnu::always_inline]] inline void put_pairs(float* at, Complex value) {
  for (std::size_t i = 0; i < parts; ++i) {
    const Part re = value.re.part[i], im = value.im.part[i];
    store(at + i * lanes,
          {__builtin_shufflevector(re, im, 0, 4, 1, 5), __builtin_shufflevector(re, im, 2, 6, 3, 7)});
  }
}

[[gnu::always_inline]] inline void transpose_square(Part& a, Part& b, Part& c, Part& d) {
  const Part ab_low = __builtin_shufflevector(a, b, 0, 4, 1, 5),
             ab_high = __builtin_shufflevector(a, b, 2, 6, 3, 7);
  const Part cd_low = __builtin_shufflevector(c, d, 0, 4, 1, 5),
             cd_high = __builtin_shufflevector(c, d, 2, 6, 3, 7);
  a = __builtin_shufflevector(ab_low, cd_low, 0, 1, 4, 5);
  b = __builtin_shufflevector(ab_low, cd_low, 2, 3, 6, 7);
  c = __builtin_shufflevector(ab_high, cd_high, 0, 1, 4, 5);
  d = __builtin_shufflevector(ab_high, cd_high, 2, 3, 6, 7);
}

[[gnu::always_inline]] inline void transpose(Lanes (&rows)[lanes]) {
  for (std::size_t half = 0; half < 2; ++half)
    for (std::size_t i = 0; i < 8; i += 4)
      transpose_square(rows[i].part[half], rows[i + 1].part[half], rows[i + 2].part[half],
                       rows[i + 3].part[half]);
  for (std::size_t i = 0; i < 4; ++i) {
    const Part kept = rows[i].part[1];
    rows[i].part[1] = rows[i + 4].part[0];
    rows[i + 4].part[0] = kept;
  }
}

[[gnu::always_inline]] inline float sum(Reg a) { return (a[0] + a[2]) + (a[1] + a[3]); }
[[gnu::always_inline]] inline float sum(Lanes v) { return sum(v.part[0] + v.part[1]); }

[[gnu::always_inline]] inline Lanes sums(const Lanes (&rows)[lanes]) {
  Lanes out;
  for (std::size_t i = 0; i < parts; ++i) {
    const Lanes* four = rows + 4 * i;
    Part a = four[0].part[0] + four[0].part[1], b = four[1].part[0] + four[1].part[1];
    Part c = four[2].part[0] + four[2].part[1], d = four[3].part[0] + four[3].part[1];
    transpose_square(a, b, c, d);
    out.part[i] = (a + c) + (b + d);
  }
  return out;
}

[[gnu::always_inline]] inline Lanes reversed(Lanes v) {
  return {__builtin_shufflevector(v.part[1], v.part[1], 3, 2, 1, 0),
          __builtin_shufflevector(v.part[0], v.part[0], 3, 2, 1, 0)};
}

#endif

// What products are added up in: a whole register, or eight lanes.
#ifdef __AVX512F__
using Sum = Reg;
[[gnu::always_inline]] inline Reg load_as(Reg, const float* from) { return load_reg(from); }
[[gnu::always_inline]] inline Sum widened(Reg a) { return a; }
[[gnu::always_inline]] inline Sum widened(Lanes a) {
  return __builtin_shufflevector(a.part[0], Part{}, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15);
}
#else
using Sum = Lanes;
[[gnu::always_inline]] inline Sum widened(Lanes a) { return a; }
#endif
[[gnu::always_inline]] inline Lanes load_as(Lanes, const float* from) { return load(from); }

}  // namespace
}  // namespace gearhark
