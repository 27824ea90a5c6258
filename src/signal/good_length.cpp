#include "good_length.hpp"

#include <algorithm>

#include "gearhark/signal/fft.hpp"

namespace gearhark {

bool made_of_2_3_5(std::size_t n) {
  for (const std::size_t factor : {2u, 3u, 5u})
    while (n > 0 && n % factor == 0) n /= factor;
  return n == 1;
}

std::size_t good_length(std::size_t n) {
  const std::size_t step = n > 65536 - 128 ? 128 : 2;
  std::size_t length = std::max<std::size_t>(1, (n + step - 1) / step) * step;
  while (!made_of_2_3_5(length)) length += step;
  return length;
}

}  // namespace gearhark
