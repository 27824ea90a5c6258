// Values of the command line. What is wrong with one is an error of usage that names the option.
#pragma once

#include <fmt/format.h>

#include <optional>
#include <string>
#include <string_view>

#include "gearhark/car/car.hpp"
#include "gearhark/car/lines.hpp"
#include "gearhark/units/result.hpp"

namespace gearhark::cli {

inline Error usage(const std::string& sentence) { return {sentence, ErrorKind::usage}; }

template <class T>
Result<T> option(std::string_view name, Result<T> value) {
  if (!value) return usage(fmt::format("{}: {}", name, value.error().sentence));
  return value;
}

// --fault: as a diagnosis writes it; nothing where it was left out.
inline Result<std::optional<Fault>> fault_option(const std::string& text) {
  const auto fault = fault_from_text(text);
  if (text.empty() || fault) return fault;
  return usage(fmt::format(
      "--fault: \"{}\" is no fault that is known here; write such as \"outer race\" or \"worn teeth\"",
      text));
}

// A car file, or the name of a car that came with the program: "heron_rear_transaxle".
Result<Car> car_named(const std::string& file_or_name);

// The user's own, for what is kept (XDG Base Directory Specification). Error: neither HOME nor XDG_DATA_HOME
// is set.
Result<std::string> data_folder();

struct CarFile {
  Car car;
  std::string text;
};
// The same, with what stands in the file.
Result<CarFile> car_file_named(const std::string& file_or_name);

}  // namespace gearhark::cli
