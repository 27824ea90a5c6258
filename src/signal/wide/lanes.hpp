// Eight floats worked on at once, in whatever registers the file that includes this is compiled for.
// No name here may be seen by the linker: the same source is compiled for several instruction sets, and a
// function made for the widest must not be called on a machine that lacks it. For the same reason nothing
// from the standard library that is a template or inline may be used beside it.
#pragma once

#include <cstddef>

// The vectors below never cross a function that is not inlined, so no call depends on how they are passed
// (which is what -Wno-psabi on this source is about).

namespace gearhark {
namespace {

constexpr std::size_t lanes = 8;
using Lanes [[gnu::vector_size(lanes * sizeof(float))]] = float;
using DoubleLanes [[gnu::vector_size(lanes * sizeof(double))]] = double;

[[gnu::always_inline]] inline Lanes load(const float* from) {
  Lanes out;
  __builtin_memcpy(&out, from, sizeof out);
  return out;
}

[[gnu::always_inline]] inline void store(float* to, Lanes values) {
  __builtin_memcpy(to, &values, sizeof values);
}

[[gnu::always_inline]] inline float sum(Lanes v) {
  return ((v[0] + v[4]) + (v[2] + v[6])) + ((v[1] + v[5]) + (v[3] + v[7]));
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

// Lane form in memory: 8 real parts, then 8 imaginary parts.
[[gnu::always_inline]] inline Complex get(const float* at) { return {load(at), load(at + lanes)}; }
[[gnu::always_inline]] inline void put(float* at, Complex value) {
  store(at, value.re);
  store(at + lanes, value.im);
}

// The usual form in memory, 8 pairs of real and imaginary part.
[[gnu::always_inline]] inline Complex get_pairs(const float* at) {
  const Lanes a = load(at), b = load(at + lanes);
  return {__builtin_shufflevector(a, b, 0, 2, 4, 6, 8, 10, 12, 14),
          __builtin_shufflevector(a, b, 1, 3, 5, 7, 9, 11, 13, 15)};
}
[[gnu::always_inline]] inline void put_pairs(float* at, Complex value) {
  store(at, __builtin_shufflevector(value.re, value.im, 0, 8, 1, 9, 2, 10, 3, 11));
  store(at + lanes, __builtin_shufflevector(value.re, value.im, 4, 12, 5, 13, 6, 14, 7, 15));
}

// Lane j of row i becomes lane i of row j.
[[gnu::always_inline]] inline void transpose(Lanes (&r)[lanes]) {
  Lanes t[lanes];
  for (int i = 0; i < 8; i += 2) {
    t[i] = __builtin_shufflevector(r[i], r[i + 1], 0, 8, 2, 10, 4, 12, 6, 14);
    t[i + 1] = __builtin_shufflevector(r[i], r[i + 1], 1, 9, 3, 11, 5, 13, 7, 15);
  }
  for (int i = 0; i < 8; i += 4)
    for (int j = i; j < i + 2; ++j) {
      r[j] = __builtin_shufflevector(t[j], t[j + 2], 0, 1, 8, 9, 4, 5, 12, 13);
      r[j + 2] = __builtin_shufflevector(t[j], t[j + 2], 2, 3, 10, 11, 6, 7, 14, 15);
    }
  for (int j = 0; j < 4; ++j) {
    t[j] = __builtin_shufflevector(r[j], r[j + 4], 0, 1, 2, 3, 8, 9, 10, 11);
    t[j + 4] = __builtin_shufflevector(r[j], r[j + 4], 4, 5, 6, 7, 12, 13, 14, 15);
  }
  for (int j = 0; j < 8; ++j) r[j] = t[j];
}

}  // namespace
}  // namespace gearhark
