#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "gearhark/diagnosis/bundle.hpp"

namespace gearhark {
namespace {

// JSON's strings are strings of TOML too.
std::string quoted(const std::string& text) { return nlohmann::json(text).dump(); }

double at(const std::vector<SpeedPoint>& points, Seconds time) {
  const auto next =
      std::find_if(points.begin(), points.end(), [&](const SpeedPoint& p) { return p.time >= time; });
  if (next == points.begin()) return points.front().speed.value();
  if (next == points.end()) return points.back().speed.value();
  const SpeedPoint& last = *(next - 1);
  const double share = (time - last.time) / (next->time - last.time);
  return last.speed.value() + share * (next->speed - last.speed).value();
}

// "65.0 km/h", or from the start of the run to its end.
std::string needle_words(const Run& run) {
  const auto& points = run.speed.points;
  const auto words = [&](double speed) { return to_text(Speed(speed), run.speed.unit, 1); };
  if (points.size() == 1) return words(points[0].speed.value());
  std::string out = fmt::format("{:.3f} {}", run.from->value(), words(at(points, *run.from)));
  for (const SpeedPoint& p : points)
    if (p.time > *run.from + Seconds(0.01) && p.time < *run.to - Seconds(0.01))
      out += fmt::format(", {:.3f} {}", p.time.value(), words(p.speed.value()));
  return out + fmt::format(", {:.3f} {}", run.to->value(), words(at(points, *run.to)));
}

std::string csv_of(const std::vector<SpeedPoint>& points) {
  std::string out = "time_s,speed_mps\n";
  for (const SpeedPoint& p : points) out += fmt::format("{:.3f},{:.3f}\n", p.time.value(), p.speed.value());
  return out;
}

std::string name_of(const Run& run) { return run.file.substr(run.file.rfind('/') + 1); }

}  // namespace

UnpackedBundle unpacked(const Bundle& bundle, const BundleRuns& found) {
  UnpackedBundle out;
  out.road_test = "# From a road-test bundle.\n";
  for (const std::string& sentence : found.left_out) out.road_test += "# " + sentence + "\n";
  out.road_test += "car = \"car.toml\"\n";
  if (!bundle.notes.started.empty())
    out.road_test += "notes = " + quoted("recorded at " + bundle.notes.started) + "\n";
  for (const Run& run : found.runs) {
    out.road_test += fmt::format(
        "\n[[recording]]\nfile = {}\ngear = {}\nload = \"{}\"\nturn = \"{}\"\nclutch = \"{}\"\n"
        "from = \"{:.3f}\"\nto = \"{:.3f}\"\n",
        quoted(name_of(run)), quoted(run.gear.label), to_text(run.load), to_text(run.turn),
        run.clutch == Clutch::engaged ? "engaged" : "pedal down", run.from->value(), run.to->value());
    if (run.speed.source == SpeedSource::range) {
      out.road_test +=
          fmt::format("speed_between = \"{} and {}\"\n", to_text(run.speed.points[0].speed, run.speed.unit),
                      to_text(run.speed.points[1].speed, run.speed.unit));
    } else if (run.speed.source == SpeedSource::satellite) {
      out.logs.push_back(
          {fmt::format("speed_{}.csv", &run - found.runs.data() + 1), csv_of(run.speed.points)});
      out.road_test +=
          fmt::format("speed_file = \"{}\"\nrecording_starts = \"0:00\"\n", out.logs.back().name);
    } else {
      out.road_test += fmt::format("speed = \"{}\"\n", needle_words(run));
    }
  }
  return out;
}

}  // namespace gearhark
