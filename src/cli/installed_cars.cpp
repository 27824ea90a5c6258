#include <filesystem>

#include "arguments.hpp"

namespace gearhark::cli {
namespace {

// share/gearhark/models beside the bin folder that the program runs from; "" where that can't be told.
std::filesystem::path installed_models() {
  std::error_code failed;
  const auto program = std::filesystem::read_symlink("/proc/self/exe", failed);
  return failed ? std::filesystem::path() : program.parent_path().parent_path() / "share/gearhark/models";
}

}  // namespace

Result<Car> car_named(const std::string& file_or_name) {
  std::error_code none;
  const bool bare = file_or_name.find_first_of("/.") == std::string::npos && !file_or_name.empty();
  if (!bare || std::filesystem::exists(file_or_name, none)) return load_car(file_or_name);
  const auto installed = installed_models() / (file_or_name + ".toml");
  return load_car(std::filesystem::exists(installed, none) ? installed.string() : file_or_name);
}

}  // namespace gearhark::cli
