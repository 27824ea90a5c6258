#include <fcntl.h>
#include <fmt/format.h>
#include <sys/mman.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <memory>

#include "arguments.hpp"
#include "commands.hpp"
#include "gearhark/diagnosis/bundle.hpp"
#include "gearhark/units/files.hpp"
#include "output.hpp"

namespace gearhark::cli {
namespace {

struct Options {
  std::string bundle, folder;
};

// Sound may be large: it is laid into memory by the system as it is written.
std::optional<Error> write_copy(const std::string& target, const std::string& from) {
  const int file = ::open(from.c_str(), O_RDONLY | O_CLOEXEC);
  std::error_code none;
  const auto size = static_cast<std::size_t>(std::filesystem::file_size(from, none));
  void* bytes = file < 0 ? MAP_FAILED : ::mmap(nullptr, size, PROT_READ, MAP_PRIVATE, file, 0);
  const int failed = errno;
  if (file >= 0) ::close(file);
  if (bytes == MAP_FAILED)
    return Error{fmt::format("{} can't be written ({}); free some memory", target, std::strerror(failed))};
  auto error = write_file(target, {static_cast<const char*>(bytes), size});
  ::munmap(bytes, size);
  return error;
}

Outcome write_all(const std::string& folder, const Bundle& bundle, const UnpackedBundle& files) {
  const auto in_folder = [&](const std::string& name) {
    return (std::filesystem::path(folder) / name).string();
  };
  std::error_code none;
  if (std::filesystem::exists(in_folder("ROADTEST.toml"), none))
    return Error{folder + ": there is a ROADTEST.toml in it already; name an empty folder"};
  for (const BundleSound& sound : bundle.sounds)
    if (auto error = write_copy(in_folder(sound.name), *sound.copy)) return error;
  for (const auto& log : files.logs)
    if (auto error = write_file(in_folder(log.name), log.csv)) return error;
  if (!bundle.car_text.empty())
    if (auto error = write_file(in_folder("car.toml"), bundle.car_text)) return error;
  return write_file(in_folder("ROADTEST.toml"), files.road_test);
}

Outcome unpack(const Options& given) {
  const auto bundle = load_bundle(given.bundle);
  if (!bundle) return bundle.error();
  const BundleRuns found = runs_of(*bundle);
  if (found.runs.empty()) return no_run(*bundle, found.left_out);
  if (auto error = write_all(given.folder, *bundle, unpacked(*bundle, found))) return error;
  std::string said = fmt::format("{} run{} in {}\n", found.runs.size(), found.runs.size() == 1 ? "" : "s",
                                 (std::filesystem::path(given.folder) / "ROADTEST.toml").string());
  for (const std::string& sentence : found.left_out) said += sentence + "\n";
  return deliver(said, "", "");
}

}  // namespace

void add_unpack(CLI::App& app, Action& chosen) {
  const auto given = std::make_shared<Options>();
  CLI::App* command =
      app.add_subcommand("unpack", "a road-test bundle as a road-test file, to change something in it");
  command->add_option("bundle", given->bundle, "a road-test bundle, as the recorder page makes it")
      ->required()
      ->type_name("BUNDLE.zip");
  command->add_option("folder", given->folder, "an empty folder for the road-test file, sound and speed")
      ->required()
      ->type_name("FOLDER")
      ->check(CLI::ExistingDirectory);
  command->footer("Example:\n  gearhark unpack road_test.zip heron_may");
  command->callback([given, &chosen] { chosen = [given] { return unpack(*given); }; });
}

}  // namespace gearhark::cli
