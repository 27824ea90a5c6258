#include "gearhark/recording/recording.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <span>

#include "gearhark/recording/sound_reader.hpp"
#include "source.hpp"

namespace gearhark {
namespace {

// A few MB can decode to days of silence, so what is kept and what is listened to are bounded.
constexpr std::size_t most_samples = most_samples_kept;
constexpr double longest_kept_s = 4.0 * 3600.0, longest_heard_s = 24.0 * 3600.0;
// What a file states is never trusted with memory: reserve at most this much ahead (64 MB).
constexpr double most_reserved_samples = 1 << 24;
// Under this much of a cut-off file is of no use to anybody.
constexpr double least_of_a_damaged_file_s = 1.0;

struct SampleRange {
  std::size_t first = 0;
  std::size_t end = std::numeric_limits<std::size_t>::max();
};

Result<SampleRange> samples_of(const Cut& cut, double rate, const std::string& path) {
  if (!(cut.from.value() >= 0.0))
    return Error{
        fmt::format("\"{}\": the part asked for starts at {} s; give 0 or more.", path, cut.from.value())};
  if (cut.to && !(*cut.to > cut.from))
    return Error{
        fmt::format("\"{}\": the part asked for ends at {:.1f} s, not after its start at {:.1f} s; give "
                    "a later end.",
                    path, cut.to->value(), cut.from.value())};
  const auto index = [&](Seconds at) {
    return static_cast<std::size_t>(std::min(std::round(at.value() * rate), 1e18));
  };
  SampleRange range;
  range.first = index(cut.from);
  if (cut.to) range.end = index(*cut.to);
  return range;
}

double longest_s(double rate) { return std::min(longest_kept_s, static_cast<double>(most_samples) / rate); }

// A part that is being filled.
struct Part {
  SampleRange range;
  Recording recording;
};

void take(Part& part, std::span<const float> block, std::size_t heard) {
  const SampleRange& range = part.range;
  if (range.end <= heard) return;
  const std::size_t skip = std::min(block.size(), range.first > heard ? range.first - heard : 0);
  const std::size_t end = std::min(block.size(), range.end - heard);
  if (end > skip)
    part.recording.samples.insert(part.recording.samples.end(), block.begin() + static_cast<long>(skip),
                                  block.begin() + static_cast<long>(end));
}

Result<std::vector<Part>> parts_of(const SoundReader& reader, const std::vector<Cut>& cuts,
                                   const std::string& name) {
  std::vector<Part> parts;
  const double rate = reader.sample_rate();
  for (const Cut& cut : cuts) {
    const auto range = samples_of(cut, rate, name);
    if (!range) return range.error();
    parts.push_back({*range, {reader.facts(), rate, {}}});
    const double stated = reader.facts().duration.value() * rate + 1.0;
    parts.back().recording.samples.reserve(static_cast<std::size_t>(
        std::min({most_reserved_samples, stated, static_cast<double>(range->end - range->first) + 1.0})));
  }
  return parts;
}

Error too_long(const std::string& path, double seconds) {
  return {
      fmt::format("\"{}\" is longer than {:.1f} hours, more than is used at once; give the part to use with "
                  "from and to.",
                  path, seconds / 3600.0)};
}

}  // namespace

Result<std::vector<Recording>> load_parts(const std::string& path, const std::vector<Cut>& cuts,
                                          const std::string& name) {
  const std::string& shown = name.empty() ? path : name;
  auto reader = SoundReader::open(path, shown);
  if (!reader) return reader.error();
  const double rate = reader->sample_rate();
  auto parts = parts_of(*reader, cuts, shown);
  if (!parts) return parts.error();
  std::size_t last = 0;
  for (const Part& part : *parts) last = std::max(last, part.range.end);

  const auto most_kept = static_cast<std::size_t>(longest_s(rate) * rate);
  std::size_t heard = 0;
  bool whole = false;
  while (heard < last) {
    const auto block = reader->next();
    if ((whole = block.empty())) break;
    std::size_t kept = 0;
    for (Part& part : *parts) {
      take(part, block, heard);
      kept += part.recording.samples.size();
    }
    heard += block.size();
    if (kept > most_kept) return too_long(shown, longest_s(rate));
    if (static_cast<double>(heard) > longest_heard_s * rate)
      return Error{fmt::format("\"{}\" is longer than {:.0f} hours; cut it into shorter pieces.", shown,
                               longest_heard_s / 3600.0)};
  }

  const double heard_s = static_cast<double>(heard) / rate;
  const std::string damage = reader->damage();
  if (!damage.empty() && heard_s < least_of_a_damaged_file_s)
    return Error{
        fmt::format("\"{}\" is damaged ({}) and only {:.1f} s of it can be heard; copy it from the phone "
                    "again or record again.",
                    shown, damage, heard_s)};
  if (heard == 0)
    return Error{
        fmt::format("\"{}\" holds no samples; copy it from the phone again or record again.", shown)};
  std::vector<Recording> out;
  for (std::size_t i = 0; i < parts->size(); ++i) {
    Recording& recording = (*parts)[i].recording;
    if (recording.samples.empty())
      return Error{
          fmt::format("\"{}\": the part asked for starts at {:.1f} s, but the recording ends at {:.1f} s; "
                      "give an earlier start.",
                      shown, cuts[i].from.value(), heard_s)};
    if (whole) recording.facts.duration = Seconds(heard_s);
    if (!damage.empty()) recording.facts.note += (recording.facts.note.empty() ? "" : "; ") + damage;
    out.push_back(std::move(recording));
  }
  return out;
}

Result<Recording> load_recording(const std::string& path, const Cut& cut) {
  auto parts = load_parts(path, {cut});
  if (!parts) return parts.error();
  return std::move(parts->front());
}

}  // namespace gearhark
