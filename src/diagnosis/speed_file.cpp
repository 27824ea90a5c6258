#include "speed_file.hpp"

#include <fmt/format.h>

#include <fstream>

namespace gearhark {

Result<StatedSpeed> read_speed_file(const std::string& path) {
  std::ifstream in(path);
  if (!in) return Error{fmt::format("the speed file {} can't be read; check the name", path)};
  std::string line;
  if (!std::getline(in, line) || !line.starts_with("time_s,speed_mps"))
    return Error{fmt::format("{}:1: found \"{}\", expected the heading time_s,speed_mps", path, line)};
  StatedSpeed stated;
  stated.source = SpeedSource::satellite;
  stated.unit = SpeedUnit::kmh;
  for (int number = 2; std::getline(in, line); ++number) {
    double time = 0.0, speed = 0.0;
    if (std::sscanf(line.c_str(), "%lf,%lf", &time, &speed) != 2 || !(speed >= 0.0 && speed < 140.0))
      return Error{
          fmt::format("{}:{}: found \"{}\", expected a time in s and a speed in m/s", path, number, line)};
    stated.points.push_back({Seconds(time), Speed(speed)});
  }
  if (stated.points.empty()) return Error{fmt::format("{}: no speeds follow the heading", path)};
  return stated;
}

}  // namespace gearhark
