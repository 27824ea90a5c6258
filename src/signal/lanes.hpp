// Eight floats worked on at once, in whatever registers the file that includes this is compiled for.
// No name here may be seen by the linker: the same source is compiled for several instruction sets, and a
// function made for the widest must not be called on a machine that lacks it.
#pragma once

#include <cstddef>
#include <cstring>

// The vectors below never cross a function that is not inlined, so no call depends on how they are passed.
#pragma GCC diagnostic ignored "-Wpsabi"

namespace gearhark {
namespace {

constexpr std::size_t lanes = 8;
using Lanes [[gnu::vector_size(lanes * sizeof(float))]] = float;

[[gnu::always_inline]] inline Lanes load(const float* from) {
  Lanes out;
  std::memcpy(&out, from, sizeof out);
  return out;
}

[[gnu::always_inline]] inline float sum(Lanes v) {
  return ((v[0] + v[4]) + (v[2] + v[6])) + ((v[1] + v[5]) + (v[3] + v[7]));
}

}  // namespace
}  // namespace gearhark
