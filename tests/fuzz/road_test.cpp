// Any text is a road test or is refused in one sentence. A car file and a speed log lie where it looks.
#include "gearhark/diagnosis/road_test.hpp"

#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "../folder.hpp"

using namespace gearhark;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const Folder folder;
  static const bool ready = [] {
    std::filesystem::copy_file(GEARHARK_SOURCE_DIR "/models/heron_rear_transaxle.toml", folder / "car.toml");
    static_cast<void>(folder.write("log.csv", "time_s,speed_mps\n0,10\n1,11\n"));
    return true;
  }();
  static_cast<void>(ready);
  const auto test = read_road_test({reinterpret_cast<const char*>(data), size}, folder / "ROADTEST.toml");
  if (!test) return test.error().sentence.empty() ? std::abort(), 0 : 0;
  if (test->runs.empty()) std::abort();
  return 0;
}
