#include "gearhark/diagnosis/bundle.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <fstream>

#include "archive.hpp"
#include "gearhark/recording/sound_reader.hpp"

namespace gearhark {
namespace {

constexpr std::uint64_t largest_notes = std::uint64_t{4} << 20, largest_track = std::uint64_t{16} << 20,
                        largest_car = std::uint64_t{1} << 20, largest_sound = std::uint64_t{1} << 30;
constexpr double most_drift_ppm = 10000.0;  // no quartz is off by 1 %
constexpr double sound_counted_s = 86400.0;
constexpr double overlap_s = 1.0;

// Nothing that may name other files, or hold them, is let near the decoders.
bool is_sound(const std::string& path) {
  std::array<char, 12> head{};
  std::ifstream(path, std::ios::binary).read(head.data(), head.size());
  const std::string_view start(head.data(), head.size());
  return (start.starts_with("RIFF") && start.substr(8) == "WAVE") || start.starts_with("OggS") ||
         start.starts_with("\x1a\x45\xdf\xa3");
}

// Thrown within this file only.
struct Refused {
  Error error;
};

template <class T>
T had(Result<T> result) {
  if (!result) throw Refused{result.error()};
  return *std::move(result);
}

// Frames that there really are: a WAV file's header is held against the file by its library, the others state
// little.
double frames_in(SoundReader& reader) {
  if (reader.facts().container == "WAV") return reader.facts().duration.value() * reader.sample_rate();
  double frames = 0.0;
  for (auto block = reader.next(); !block.empty() && frames < sound_counted_s * reader.sample_rate();
       block = reader.next())
    frames += static_cast<double>(block.size());
  return frames;
}

class Loader {
 public:
  explicit Loader(const std::string& path) : archive_(had(Archive::open(path))) { out_.file = path; }

  Bundle load() {
    out_.notes = had(read_bundle_notes(need_text("bundle.json", largest_notes), place("bundle.json")));
    refuse_strangers();
    for (const BundlePiece& piece : out_.notes.sound) out_.sounds.push_back(sound(piece));
    find_gaps();
    if (const auto* entry = archive_.find("track.csv"))
      out_.track = had(read_bundle_track(had(archive_.text(*entry, largest_track)), place("track.csv")));
    if (const auto* entry = archive_.find("car.toml"))
      out_.car_text = had(archive_.text(*entry, largest_car));
    return std::move(out_);
  }

 private:
  [[nodiscard]] std::string place(const std::string& entry) const { return out_.file + "/" + entry; }

  std::string need_text(const std::string& name, std::uint64_t most) {
    const auto* entry = archive_.find(name);
    if (!entry)
      throw Refused{
          {fmt::format("{}: the entry \"{}\" is missing, so this is no road-test bundle; check the name",
                       out_.file, name)}};
    return had(archive_.text(*entry, most));
  }

  void refuse_strangers() const {
    const auto& pieces = out_.notes.sound;
    for (const Archive::Entry& entry : archive_.entries()) {
      const bool known = entry.name == "bundle.json" || entry.name == "track.csv" || entry.name == "car.toml";
      const bool listed =
          std::any_of(pieces.begin(), pieces.end(), [&](const auto& p) { return p.file == entry.name; });
      if (!known && !listed)
        throw Refused{archive_.about(entry.name,
                                     "has no place in a road-test bundle: bundle.json does not list it; send "
                                     "the bundle as the recorder made it")};
    }
  }

  BundleSound sound(const BundlePiece& piece) {
    const auto* entry = archive_.find(piece.file);
    const auto& sounds = out_.sounds;
    if (std::any_of(sounds.begin(), sounds.end(), [&](const BundleSound& s) { return s.name == piece.file; }))
      throw Refused{
          archive_.about(piece.file, "is listed twice in bundle.json; send it from the phone again")};
    if (!entry)
      throw Refused{
          archive_.about(piece.file, "is listed in bundle.json but not there; send it from the phone again")};
    BundleSound out;
    out.name = piece.file;
    out.copy = had(archive_.copy(*entry, largest_sound - taken_));
    taken_ += std::filesystem::file_size(*out.copy);
    if (!is_sound(*out.copy))
      throw Refused{archive_.about(piece.file, "is no WAV, WebM or Ogg sound; send it from the phone again")};
    SoundReader reader = had(SoundReader::open(*out.copy, place(piece.file)));
    out.rate_hz = reader.sample_rate();
    out.frames = frames_in(reader);
    out.clock = clock_of(piece.anchors, out.rate_hz, out.frames);
    for (const ClockStretch& clock : out.clock) refuse_drift(piece, out, clock);
    return out;
  }

  void refuse_drift(const BundlePiece& piece, const BundleSound& sound, const ClockStretch& clock) const {
    if (std::abs(clock.drift_ppm) <= most_drift_ppm) return;
    throw Refused{archive_.about(
        piece.file,
        fmt::format(
            "has {:.0f} samples a second, and its anchors in bundle.json say {:.0f}; send it from the "
            "phone again",
            sound.rate_hz, clock.rate))};
  }

  // Pieces follow each other.
  void find_gaps() {
    std::optional<Seconds> end;
    for (const BundleSound& sound : out_.sounds)
      for (const ClockStretch& clock : sound.clock) {
        if (end && clock.from < *end - Seconds(overlap_s))
          throw Refused{archive_.about(
              sound.name, fmt::format("begins at {:.1f} s of the bundle's clock, before the sound "
                                      "ahead of it ends at {:.1f} s; send it from the phone again",
                                      clock.from.value(), end->value()))};
        if (end && clock.from > *end) out_.gaps.push_back({*end, clock.from});
        end = clock.to;
      }
  }

  Archive archive_;
  Bundle out_;
  std::uint64_t taken_ = 0;
};

std::string place_of_car(const Bundle& bundle) { return bundle.file + "/car.toml"; }

}  // namespace

bool looks_like_bundle(const std::string& path) { return looks_like_archive(path); }

Result<Bundle> load_bundle(const std::string& path) {
  try {
    return Loader(path).load();
  } catch (const Refused& refused) {
    return refused.error;
  }
}

Error no_run(const Bundle& bundle, const std::vector<std::string>& left_out) {
  return {fmt::format(
      "{}: no run can be used{}{}; tap gear and throttle, hold each for 10 s or more, and record again",
      bundle.file, left_out.empty() ? "" : ": ", left_out.empty() ? "" : left_out.front())};
}

Result<RoadTest> road_test_of(const Bundle& bundle, Car car, std::string car_file) {
  BundleRuns found = runs_of(bundle);
  RoadTest out;
  out.car = std::move(car);
  out.car_file = std::move(car_file);
  out.left_out = std::move(found.left_out);
  for (Run& run : found.runs) {
    const auto why = impossible(out.car, run);
    if (why)
      out.left_out.push_back(fmt::format("{} from {:.1f} s to {:.1f} s is not used: {}", run.file,
                                         run.from->value(), run.to->value(), *why));
    else
      out.runs.push_back(std::move(run));
  }
  if (!out.runs.empty()) return out;
  return no_run(bundle, out.left_out);
}

Result<RoadTest> road_test_of(const Bundle& bundle) {
  if (bundle.car_text.empty())
    return Error{
        fmt::format("{}: the bundle has no car.toml; name the car with --car CAR.toml", bundle.file)};
  auto car = read_car(bundle.car_text, place_of_car(bundle));
  if (!car) return car.error();
  return road_test_of(bundle, *std::move(car), place_of_car(bundle));
}

}  // namespace gearhark
