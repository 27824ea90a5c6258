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
constexpr double longest_used_s = 4.0 * 3600.0, longest_heard_s = 24.0 * 3600.0;
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

double longest_s(double rate) { return std::min(longest_used_s, static_cast<double>(most_samples) / rate); }

Error too_long(const std::string& path, double seconds) {
  return {
      fmt::format("\"{}\" is longer than {:.1f} hours, more than is used at once; give the part to use with "
                  "from and to.",
                  path, seconds / 3600.0)};
}

// The samples from range.first to range.end as they come, block by block.
class RangeReader {
 public:
  RangeReader(SoundReader reader, SampleRange range) : reader_(std::move(reader)), range_(range) {}
  // Empty: the end of the range or of the file. Only then heard() is the file's length, or range.end and
  // more.
  std::span<const float> next() {
    while (heard_ < range_.end) {
      const auto block = reader_.next();
      if ((whole_ = block.empty())) break;
      const std::size_t skip = std::min(block.size(), range_.first > heard_ ? range_.first - heard_ : 0);
      const std::size_t end = std::min(block.size(), range_.end - heard_);
      heard_ += block.size();
      if (end > skip) return block.subspan(skip, end - skip);
      if (too_much()) break;
    }
    return {};
  }
  [[nodiscard]] std::size_t heard() const { return heard_; }
  [[nodiscard]] bool whole() const { return whole_; }  // the file's end was reached
  [[nodiscard]] bool too_much() const {
    return static_cast<double>(heard_) > longest_heard_s * reader_.sample_rate();
  }
  [[nodiscard]] const SoundReader& reader() const { return reader_; }

 private:
  SoundReader reader_;
  SampleRange range_;
  std::size_t heard_ = 0;
  bool whole_ = false;
};

// What is wrong with a recording of which so many samples came; else its facts are put right.
std::optional<Error> looked_through(const RangeReader& range, const std::string& path, const Cut& cut,
                                    std::size_t samples, Recording& recording) {
  const double heard_s = static_cast<double>(range.heard()) / recording.sample_rate;
  if (range.whole()) recording.facts.duration = Seconds(heard_s);
  const std::string damage = range.reader().damage();
  if (!damage.empty() && heard_s < least_of_a_damaged_file_s)
    return Error{
        fmt::format("\"{}\" is damaged ({}) and only {:.1f} s of it can be heard; copy it from the phone "
                    "again or record again.",
                    path, damage, heard_s)};
  if (range.heard() == 0)
    return Error{fmt::format("\"{}\" holds no samples; copy it from the phone again or record again.", path)};
  if (samples == 0)
    return Error{
        fmt::format("\"{}\": the part asked for starts at {:.1f} s, but the recording ends at {:.1f} s; "
                    "give an earlier start.",
                    path, cut.from.value(), heard_s)};
  if (!damage.empty()) recording.facts.note += (recording.facts.note.empty() ? "" : "; ") + damage;
  return {};
}

Error much_too_long(const std::string& path) {
  return {fmt::format("\"{}\" is longer than {:.0f} hours; cut it into shorter pieces.", path,
                      longest_heard_s / 3600.0)};
}

// Reads `long_one` through; `first` is at the start of its file.
std::optional<Error> read_pieces(const LongRecording& long_one, const SoundReader& first, SampleRange range,
                                 const std::function<bool(std::size_t, Recording&)>& hear) {
  auto reader = first.again();
  if (!reader) return reader.error();
  Recording piece;
  piece.facts = first.facts();
  piece.sample_rate = first.sample_rate();
  RangeReader samples(*std::move(reader), range);
  std::span<const float> block;
  for (std::size_t i = 0; i < long_one.pieces; ++i) {
    const std::size_t wanted = long_one.first_sample(i + 1) - long_one.first_sample(i);
    piece.samples.clear();
    piece.samples.reserve(long_one.samples / long_one.pieces + 1);  // what the longest wants
    while (piece.samples.size() < wanted) {
      if (block.empty()) block = samples.next();
      if (block.empty())
        return Error{fmt::format("\"{}\" became shorter while it was read; leave it alone and try again.",
                                 first.facts().file)};
      const std::size_t taken = std::min(block.size(), wanted - piece.samples.size());
      piece.samples.insert(piece.samples.end(), block.begin(), block.begin() + static_cast<long>(taken));
      block = block.subspan(taken);
    }
    if (!hear(i, piece)) break;
  }
  return {};
}

std::shared_ptr<const LongRecording> pieces_of(const SoundReader& reader, SampleRange range,
                                               std::size_t samples, double piece_samples) {
  auto first = reader.again();
  if (!first) return nullptr;
  const auto out = std::make_shared<LongRecording>();
  out->samples = samples;
  out->pieces = static_cast<std::size_t>(std::ceil(static_cast<double>(samples) / piece_samples));
  const auto kept = std::make_shared<SoundReader>(*std::move(first));
  kept->close();
  out->read = [self = out.get(), kept, range](const auto& hear) {
    return read_pieces(*self, *kept, range, hear);
  };
  return out;
}

// Without `holding` what is too long to be held is an error.
Result<LoadedSound> load(const std::string& file, const Cut& cut, const Holding* holding,
                         const std::string& name) {
  auto reader = SoundReader::open(file, name);
  if (!reader) return reader.error();
  const std::string path = reader->facts().file;
  LoadedSound out;
  Recording& recording = out.recording;
  recording.facts = reader->facts();
  recording.sample_rate = reader->sample_rate();
  const auto range = samples_of(cut, recording.sample_rate, path);
  if (!range) return range.error();
  const double longest = holding ? holding->longest.value() : longest_s(recording.sample_rate);
  const auto most_held = static_cast<std::size_t>(longest * recording.sample_rate);
  // Coded sound ends with a whole frame, up to 4096 samples of it more than are stated: one too many would
  // have all of them moved to twice the room.
  constexpr double last_frame = 4096.0;
  recording.samples.reserve(static_cast<std::size_t>(
      std::min({most_reserved_samples, static_cast<double>(most_held),
                recording.facts.duration.value() * recording.sample_rate + last_frame})));

  RangeReader part(*std::move(reader), *range);
  std::size_t samples = 0;
  for (auto block = part.next(); !block.empty(); block = part.next()) {
    samples += block.size();
    if (samples <= most_held)
      recording.samples.insert(recording.samples.end(), block.begin(), block.end());
    else if (holding)
      std::vector<float>().swap(recording.samples);
    else
      return too_long(path, longest);
    if (static_cast<double>(samples) > longest_used_s * recording.sample_rate)
      return too_long(path, longest_used_s);
    if (part.too_much()) break;
  }
  if (part.too_much()) return much_too_long(path);
  if (auto error = looked_through(part, path, cut, samples, recording)) return *error;
  if (samples <= most_held) return out;
  out.pieces = pieces_of(part.reader(), *range, samples, holding->piece.value() * recording.sample_rate);
  if (!out.pieces)
    return Error{fmt::format("\"{}\" can't be read a second time; leave it alone and try again.", path)};
  return out;
}

}  // namespace

Result<LoadedSound> load_sound(const std::string& path, const Cut& cut, const Holding& holding,
                               const std::string& name) {
  return load(path, cut, &holding, name);
}

Result<Recording> load_recording(const std::string& path, const Cut& cut) {
  auto sound = load(path, cut, nullptr, "");
  if (!sound) return sound.error();
  return std::move(sound->recording);
}

}  // namespace gearhark
