// Any bytes are a bundle or are refused in one sentence; its runs lie in its sound and read as a road test
// again.
//
// What begins as a zip file is taken as it is. Anything else is bundle.json and, after a line of "----",
// track.csv, put into a zip file together with a little sound: checksums would keep a fuzzer out.
#include "gearhark/diagnosis/bundle.hpp"

#include <sys/mman.h>
#include <unistd.h>

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>

#include "../zip_file.hpp"

using namespace gearhark;

namespace {

const Car& heron() {
  static const auto car = load_car(std::string(GEARHARK_SOURCE_DIR) + "/models/heron_rear_transaxle.toml");
  if (!car) std::abort();
  return *car;
}

std::string zipped(const std::string& text) {
  static const std::string sound = test::wav_of(std::vector<float>(4000 * 20, 0.25F), 4000);
  const auto end = text.find("\n----\n");
  std::vector<test::ZipEntry> entries{{"bundle.json", text.substr(0, end)}, {"sound_1.wav", sound}};
  if (text.find("\"sound_2.wav\"") != std::string::npos) entries.push_back({"sound_2.wav", sound});
  if (end != std::string::npos) entries.push_back({"track.csv", text.substr(end + 6)});
  return test::zip_of(entries);
}

void require(bool fine) {
  if (!fine) std::abort();
}

void look_at(const Bundle& bundle) {
  const BundleRuns found = runs_of(bundle);
  for (const Run& run : found.runs) {
    require(run.from && run.to && run.from->value() >= 0.0 && *run.from < *run.to && run.to->value() < 100.0);
    for (const SpeedPoint& point : run.speed.points)
      require(std::isfinite(point.time.value()) && std::isfinite(point.speed.value()));
  }
  const auto test = road_test_of(bundle, heron(), "heron");
  if (!test) return require(!test.error().sentence.empty());
  // Without speed files, which are not there.
  const UnpackedBundle files = unpacked(bundle, found);
  require(files.logs.size() <= found.runs.size());
  if (!files.logs.empty() || test->runs.size() != found.runs.size()) return;
  std::string text = files.road_test;
  const std::string car = "car.toml",
                    heron_file = std::string(GEARHARK_SOURCE_DIR) + "/models/heron_rear_transaxle.toml";
  text.replace(text.find(car), car.size(), heron_file);
  const auto again = read_road_test(text, "fuzz");
  require(again && again->runs.size() == found.runs.size());
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  std::string bytes(reinterpret_cast<const char*>(data), size);
  if (!bytes.starts_with("PK")) bytes = zipped(bytes);
  const int file = ::memfd_create("bundle", 0);
  if (file < 0 || ::write(file, bytes.data(), bytes.size()) != static_cast<ssize_t>(bytes.size()))
    std::abort();
  const auto bundle = load_bundle("/proc/self/fd/" + std::to_string(file));
  ::close(file);
  if (!bundle)
    require(!bundle.error().sentence.empty());
  else
    look_at(*bundle);
  return 0;
}
