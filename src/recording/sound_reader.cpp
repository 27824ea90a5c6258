#include "gearhark/recording/sound_reader.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <vector>

#include "channels.hpp"
#include "source.hpp"

namespace gearhark {
namespace {

// Telephone recorders start at 8 kHz; ultrasonic ones end at 384 kHz. Beyond, the header is damaged.
constexpr double lowest_rate_hz = 4000.0, highest_rate_hz = 400'000.0;
constexpr int most_channels = 32;
// Decoders overshoot full scale by up to a few dB; ten times and more is float samples in another unit.
constexpr double overshoot_allowed = 8.0;
// A few samples that are not numbers are a hiccup; more than 1 % and the file was not written rightly.
constexpr double not_numbers_allowed = 0.01;
// A container's stated length is exact to a codec frame or two.
constexpr double missing_allowed_s = 0.5, missing_allowed_share = 0.02;

Error about(const std::string& path, const std::string& what) {
  return {fmt::format("\"{}\" {}.", path, what)};
}

std::string problem_of_path(const std::string& path) {
  std::error_code error;
  const auto status = std::filesystem::status(path, error);
  if (status.type() == std::filesystem::file_type::not_found)
    return "does not exist; check the name and the folder";
  if (error)
    return fmt::format("cannot be reached ({}); check the path and its permissions", error.message());
  if (std::filesystem::is_directory(status)) return "is a folder; name one recording in it";
  if (!std::filesystem::is_regular_file(status)) return "is not a file; give a recording stored on disk";
  std::FILE* file = std::fopen(path.c_str(), "rb");
  if (!file) return fmt::format("cannot be opened ({}); allow reading it", std::strerror(errno));
  std::fclose(file);
  if (std::filesystem::file_size(path, error) == 0)
    return "is empty; copy it from the phone again or record again";
  return "";
}

Result<std::unique_ptr<Source>> open_source(const std::string& path, const std::string& shown) {
  if (std::string wrong = problem_of_path(path); !wrong.empty()) return about(shown, wrong);
  std::unique_ptr<Source> source = open_with_sndfile(path);
  if (!source) {
    auto other = open_with_ffmpeg(path, shown);
    if (!other) return other.error();
    source = std::move(*other);
  }
  const SourceFacts& facts = source->facts();
  if (!(facts.sample_rate >= lowest_rate_hz && facts.sample_rate <= highest_rate_hz))
    return about(shown,
                 fmt::format("states {:.0f} samples a second, and a recording has {:.0f} to {:.0f}; its "
                             "header is damaged: copy or record it again",
                             facts.sample_rate, lowest_rate_hz, highest_rate_hz));
  if (facts.channels < 1 || facts.channels > most_channels)
    return about(shown,
                 fmt::format("states {} channels, and at most {} are handled; export one or two of them",
                             facts.channels, most_channels));
  return source;
}

RecordingFacts facts_of(const std::string& shown, const SourceFacts& source) {
  RecordingFacts facts;
  facts.file = shown;
  facts.container = source.container;
  facts.codec = source.codec;
  facts.channels = source.channels;
  facts.bit_rate = source.bit_rate;
  facts.duration = Seconds(source.stated_frames / source.sample_rate);
  return facts;
}

void add_note(std::string& note, const std::string& more) {
  if (!more.empty()) note += (note.empty() ? "" : "; ") + more;
}

}  // namespace

struct SoundReader::State {
  std::unique_ptr<Source> source;
  SourceFacts source_facts;
  std::string path;
  RecordingFacts facts;
  std::vector<float> weights, block;
  double frames = 0.0;  // delivered so far
  bool at_end = false;

  void read(std::unique_ptr<Source> from) {
    source = std::move(from);
    source_facts = source->facts();
  }
  // Mono, and numbers only: everything after this may rely on finite samples.
  std::span<const float> mix(std::span<const float> all) {
    const std::size_t channels = weights.size(), count = all.size() / channels;
    if (channels == 1 && weights[0] == 1.0F && all_finite(all)) return all;
    block.assign(count, 0.0F);
    for (std::size_t c = 0; c < channels; ++c) {
      if (weights[c] == 0.0F) continue;
      for (std::size_t i = 0; i < count; ++i) {
        const float x = all[i * channels + c];
        if (std::isfinite(x)) block[i] += weights[c] * x;
      }
    }
    return block;
  }
  // By the sum of x - x, which is zero for numbers alone; eight sums, which compilers keep in one register.
  static bool all_finite(std::span<const float> values) {
    float off[8] = {};
    std::size_t i = 0;
    for (; i + 8 <= values.size(); i += 8)
      for (std::size_t j = 0; j < 8; ++j) off[j] += values[i + j] - values[i + j];
    for (; i < values.size(); ++i) off[0] += values[i] - values[i];
    return ((off[0] + off[1]) + (off[2] + off[3])) + ((off[4] + off[5]) + (off[6] + off[7])) == 0.0F;
  }
};

Result<SoundReader> SoundReader::open(const std::string& path, const std::string& name) {
  const std::string& shown = name.empty() ? path : name;
  auto source = open_source(path, shown);
  if (!source) return source.error();
  auto state = std::make_unique<State>();
  state->path = path;
  state->facts = facts_of(shown, (*source)->facts());
  state->weights = {1.0F};
  if ((*source)->facts().channels > 1 || (*source)->facts().floating) {
    const ChannelChoice choice = choose_channels(**source);
    if (choice.not_numbers > not_numbers_allowed)
      return about(shown,
                   fmt::format("holds {:.0f} % samples that are not numbers (NaN or infinite); export it "
                               "again, best as 16-bit WAV",
                               100.0 * choice.not_numbers));
    state->weights = choice.weights;
    add_note(state->facts.note, choice.note);
    if (choice.not_numbers > 0.0)
      add_note(state->facts.note, "samples that are not numbers were replaced by silence");
    if (choice.peak > overshoot_allowed) {
      for (float& weight : state->weights) weight = static_cast<float>(weight / choice.peak);
      add_note(state->facts.note,
               fmt::format("samples reach {:.3g} times full scale and were scaled down to it", choice.peak));
    }
    source = open_source(path, shown);  // from the start again
    if (!source) return source.error();
  }
  state->read(std::move(*source));
  return SoundReader(std::move(state));
}

SoundReader::SoundReader(std::unique_ptr<State> state) : state_(std::move(state)) {}
SoundReader::~SoundReader() = default;
SoundReader::SoundReader(SoundReader&&) noexcept = default;
SoundReader& SoundReader::operator=(SoundReader&&) noexcept = default;

Result<SoundReader> SoundReader::again() const {
  auto source = open_source(state_->path, state_->facts.file);
  if (!source) return source.error();
  auto state = std::make_unique<State>();
  state->path = state_->path;
  state->facts = state_->facts;
  state->weights = state_->weights;
  state->read(std::move(*source));
  if (state->source_facts.channels != state_->source_facts.channels)
    return about(state->facts.file, "changed while it was read; leave it alone and try again");
  return SoundReader(std::move(state));
}

void SoundReader::close() { state_->source.reset(); }

const RecordingFacts& SoundReader::facts() const { return state_->facts; }
double SoundReader::sample_rate() const { return state_->source_facts.sample_rate; }

std::span<const float> SoundReader::next() {
  const auto all = state_->source->next();
  if (all.empty()) {
    state_->at_end = true;
    return {};
  }
  const auto block = state_->mix(all);
  state_->frames += static_cast<double>(block.size());
  return block;
}

std::string SoundReader::damage() const {
  const SourceFacts& facts = state_->source_facts;
  const double missing = facts.stated_frames - state_->frames;
  const double allowed =
      std::max(missing_allowed_s * facts.sample_rate, missing_allowed_share * facts.stated_frames);
  std::string damage = state_->source->damage();
  if (state_->at_end && missing > allowed)
    add_note(damage,
             fmt::format("cut off: the file states {:.1f} s of sound and holds {:.1f} s",
                         facts.stated_frames / facts.sample_rate, state_->frames / facts.sample_rate));
  return damage;
}

}  // namespace gearhark
