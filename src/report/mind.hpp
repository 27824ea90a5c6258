// The cautions that end (or begin) a text.
#pragma once

#include <string>
#include <vector>

#include "wrap.hpp"

namespace gearhark::report {

inline std::string mind(const std::vector<std::string>& cautions) {
  std::string out(cautions.empty() ? "" : "Mind\n");
  for (const auto& caution : cautions) out += wrapped("  ", caution);
  return out;
}

}  // namespace gearhark::report
