// Any bytes are a recording or are refused in one sentence; whatever is decoded is finite and can be judged.
#include <sys/mman.h>
#include <unistd.h>

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>

#include "gearhark/recording/quality.hpp"

using namespace gearhark;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const int file = ::memfd_create("sound", 0);
  if (file < 0 || ::write(file, data, size) != static_cast<ssize_t>(size)) std::abort();
  const auto recording = load_recording("/proc/self/fd/" + std::to_string(file), {{}, Seconds(20.0)});
  ::close(file);
  if (!recording) return recording.error().sentence.empty() ? std::abort(), 0 : 0;
  if (recording->samples.empty()) std::abort();
  for (const float sample : recording->samples)
    if (!std::isfinite(sample)) std::abort();
  if (!(assess(*recording).usable.value() >= 0.0)) std::abort();
  return 0;
}
