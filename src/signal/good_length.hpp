// The lengths that transforms are made for.
#pragma once

#include <cstddef>

namespace gearhark {

bool made_of_2_3_5(std::size_t n);

}  // namespace gearhark
