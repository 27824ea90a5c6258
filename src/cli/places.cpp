#include <cstdlib>
#include <filesystem>

#include "arguments.hpp"
#include "gearhark/units/files.hpp"

namespace gearhark::cli {
namespace {

// share/gearhark/models beside the bin folder that the program runs from; "" where that can't be told.
std::filesystem::path installed_models() {
  std::error_code failed;
  const auto program = std::filesystem::read_symlink("/proc/self/exe", failed);
  return failed ? std::filesystem::path() : program.parent_path().parent_path() / "share/gearhark/models";
}

std::string path_of(const std::string& file_or_name) {
  std::error_code none;
  const bool bare = file_or_name.find_first_of("/.") == std::string::npos && !file_or_name.empty();
  if (!bare || std::filesystem::exists(file_or_name, none)) return file_or_name;
  const auto installed = installed_models() / (file_or_name + ".toml");
  return std::filesystem::exists(installed, none) ? installed.string() : file_or_name;
}

}  // namespace

Result<Car> car_named(const std::string& file_or_name) { return load_car(path_of(file_or_name)); }

Result<std::string> data_folder() {
  if (const char* data = std::getenv("XDG_DATA_HOME"); data && *data) return std::string(data) + "/gearhark";
  if (const char* home = std::getenv("HOME"); home && *home)
    return std::string(home) + "/.local/share/gearhark";
  return usage("neither HOME nor XDG_DATA_HOME is set");
}

Result<CarFile> car_file_named(const std::string& file_or_name) {
  const std::string path = path_of(file_or_name);
  auto text = text_of_file(path, "the car file");
  if (!text) return text.error();
  auto car = read_car(*text, path);
  if (!car) return car.error();
  return CarFile{std::move(*car), std::move(*text)};
}

}  // namespace gearhark::cli
