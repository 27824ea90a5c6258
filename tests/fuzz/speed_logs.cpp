// libFuzzer entry: the readers of speed logs must read or refuse any bytes. One binary per reader, chosen by
// READER.
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string_view>

#include "gearhark/speed/logs.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto log = gearhark::READER(text, "fuzz");
  if (!log && log.error().sentence.empty()) std::abort();
  if (log)
    for (std::size_t i = 1; i < log->points.size(); ++i)
      if (!(log->points[i].time > log->points[i - 1].time)) std::abort();
  return 0;
}
