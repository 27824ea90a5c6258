#include "gearhark/recording/recording.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

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

Error too_long(const std::string& path, double seconds) {
  return {
      fmt::format("\"{}\" is longer than {:.1f} hours, more than is used at once; give the part to use with "
                  "from and to.",
                  path, seconds / 3600.0)};
}

}  // namespace

Result<Recording> load_recording(const std::string& path, const Cut& cut) {
  auto reader = SoundReader::open(path);
  if (!reader) return reader.error();
  Recording recording;
  recording.facts = reader->facts();
  recording.sample_rate = reader->sample_rate();
  const auto range = samples_of(cut, recording.sample_rate, path);
  if (!range) return range.error();
  recording.samples.reserve(static_cast<std::size_t>(
      std::min(most_reserved_samples, recording.facts.duration.value() * recording.sample_rate + 1.0)));

  const auto most_kept = static_cast<std::size_t>(longest_s(recording.sample_rate) * recording.sample_rate);
  std::size_t heard = 0;
  bool whole = false;
  while (heard < range->end) {
    const auto block = reader->next();
    if ((whole = block.empty())) break;
    const std::size_t skip = std::min(block.size(), range->first > heard ? range->first - heard : 0);
    const std::size_t end = std::min(block.size(), range->end - heard);
    if (end > skip)
      recording.samples.insert(recording.samples.end(), block.begin() + static_cast<long>(skip),
                               block.begin() + static_cast<long>(end));
    heard += block.size();
    if (recording.samples.size() > most_kept) return too_long(path, longest_s(recording.sample_rate));
    if (static_cast<double>(heard) > longest_heard_s * recording.sample_rate)
      return Error{fmt::format("\"{}\" is longer than {:.0f} hours; cut it into shorter pieces.", path,
                               longest_heard_s / 3600.0)};
  }

  const double heard_s = static_cast<double>(heard) / recording.sample_rate;
  if (whole) recording.facts.duration = Seconds(heard_s);
  const std::string damage = reader->damage();
  if (!damage.empty() && heard_s < least_of_a_damaged_file_s)
    return Error{
        fmt::format("\"{}\" is damaged ({}) and only {:.1f} s of it can be heard; copy it from the phone "
                    "again or record again.",
                    path, damage, heard_s)};
  if (heard == 0)
    return Error{fmt::format("\"{}\" holds no samples; copy it from the phone again or record again.", path)};
  if (recording.samples.empty())
    return Error{
        fmt::format("\"{}\": the part asked for starts at {:.1f} s, but the recording ends at {:.1f} s; "
                    "give an earlier start.",
                    path, cut.from.value(), heard_s)};
  if (!damage.empty()) recording.facts.note += (recording.facts.note.empty() ? "" : "; ") + damage;
  return recording;
}

}  // namespace gearhark
