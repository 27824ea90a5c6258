#include "speed_file.hpp"

#include "gearhark/speed/logs.hpp"

namespace gearhark {

Result<StatedSpeed> read_speed_file(const std::string& path, std::optional<Seconds> recording_starts) {
  const auto log = load_speed_log(path);
  if (!log) return log.error();
  return stated_by(*log, recording_starts);
}

}  // namespace gearhark
