// Values of the command line. What is wrong with one is an error of usage that names the option.
#pragma once

#include <fmt/format.h>

#include <string>
#include <string_view>

#include "gearhark/units/result.hpp"

namespace gearhark::cli {

inline Error usage(const std::string& sentence) { return {sentence, ErrorKind::usage}; }

template <class T>
Result<T> option(std::string_view name, Result<T> value) {
  if (!value) return usage(fmt::format("{}: {}", name, value.error().sentence));
  return value;
}

}  // namespace gearhark::cli
