// Functions of eight floats at once. As for lanes.hpp, which this goes with: no name here may be seen by the
// linker.
#pragma once

#include "lanes.hpp"

namespace gearhark {
namespace {

using Bits [[gnu::vector_size(part_lanes * sizeof(int))]] = int;

[[gnu::always_inline]] inline Lanes all(float value) {
  Lanes out;
  for (std::size_t i = 0; i < parts; ++i) out.part[i] = Part{} + value;
  return out;
}

[[gnu::always_inline]] inline Lanes larger(Lanes a, Lanes b) {
  for (std::size_t i = 0; i < parts; ++i) a.part[i] = a.part[i] > b.part[i] ? a.part[i] : b.part[i];
  return a;
}
[[gnu::always_inline]] inline Lanes smaller(Lanes a, Lanes b) {
  for (std::size_t i = 0; i < parts; ++i) a.part[i] = a.part[i] < b.part[i] ? a.part[i] : b.part[i];
  return a;
}
[[gnu::always_inline]] inline Lanes operator/(Lanes a, Lanes b) {
  for (std::size_t i = 0; i < parts; ++i) a.part[i] /= b.part[i];
  return a;
}

// Of whole numbers that may have wrapped round; the difference itself fits.
[[gnu::always_inline]] inline Lanes difference(const int* a, const int* b) {
  using Unsigned [[gnu::vector_size(part_lanes * sizeof(int))]] = unsigned;
  Lanes out;
  for (std::size_t i = 0; i < parts; ++i) {
    Unsigned more, less;
    __builtin_memcpy(&more, a + i * part_lanes, sizeof more);
    __builtin_memcpy(&less, b + i * part_lanes, sizeof less);
    out.part[i] = __builtin_convertvector(reinterpret_cast<Bits>(more - less), Part);
  }
  return out;
}

// The functions below of one register, whatever its width.
template <class V, class B>
[[gnu::always_inline]] inline V exponential_of(V x) {
  // 1.5 x 2^23: added, it leaves a whole number in the lowest bits; and the bias of exponents.
  constexpr float shifter = 12582912.0f + 127.0f;
  const V least = V{} - 86.0f;
  const V octaves = (x > least ? x : least) * 1.44269504f;
  const V shifted = octaves + shifter;
  const V t = octaves - (shifted - shifter);
  const V part =
      0.999999261f + t * (0.693121814f + t * (0.240247448f + t * (0.0559178623f + t * 0.00957010212f)));
  return part * reinterpret_cast<V>(reinterpret_cast<B>(shifted) << 23);
}

template <class V, class B>
[[gnu::always_inline]] inline V logarithm_of(V x) {
  constexpr int root_of_half = 0x3f3504f3;  // as bits
  const B bits = reinterpret_cast<B>(x);
  const B octaves = (bits - root_of_half) >> 23;
  const V m = reinterpret_cast<V>(bits - (octaves << 23));
  const V s = (m - 1.0f) / (m + 1.0f), q = s * s;
  const V series = 2.0f * s * (1.0f + q * (1.0f / 3 + q * (1.0f / 5 + q * (1.0f / 7 + q * (1.0f / 9)))));
  return series + __builtin_convertvector(octaves, V) * 0.693147181f;
}

// e^x to 3e-6 relative for x < 88; below -86 as at -86. 2^whole by its exponent bits, 2^part by the
// polynomial whose largest relative error is the least.
[[gnu::always_inline]] inline Lanes exponential(Lanes x) {
  for (std::size_t i = 0; i < parts; ++i) x.part[i] = exponential_of<Part, Bits>(x.part[i]);
  return x;
}

// log x to 2e-7 for normal positive x: its exponent, and 2 artanh((m - 1) / (m + 1)) of its mantissa m
// between the roots of one half and of two.
[[gnu::always_inline]] inline Lanes logarithm(Lanes x) {
  for (std::size_t i = 0; i < parts; ++i) x.part[i] = logarithm_of<Part, Bits>(x.part[i]);
  return x;
}

using RegBits [[gnu::vector_size(reg_lanes * sizeof(int))]] = int;

[[gnu::always_inline]] inline Reg exponential(Reg x) { return exponential_of<Reg, RegBits>(x); }
[[gnu::always_inline]] inline Reg logarithm(Reg x) { return logarithm_of<Reg, RegBits>(x); }
[[gnu::always_inline]] inline Reg smaller(Reg a, Reg b) { return a < b ? a : b; }
[[gnu::always_inline]] inline Reg larger(Reg a, Reg b) { return a > b ? a : b; }

// As load_as().
[[gnu::always_inline]] inline Reg all_as(Reg, float value) { return Reg{} + value; }
[[gnu::always_inline]] inline Lanes all_as(Lanes, float value) { return all(value); }

}  // namespace
}  // namespace gearhark
