#include "gearhark/repair/clips.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <span>

#include "gearhark/repair/listen.hpp"
#include "gearhark/signal/resample.hpp"

namespace gearhark {
namespace {

constexpr double fade_s = 0.02;  // so that cutting makes no click

bool heard(const SuspectExhibit& exhibit) {
  return std::any_of(exhibit.levels.begin(), exhibit.levels.end(),
                     [&](const RunLevel& l) { return l.recording == exhibit.recording && l.found > 0; });
}

// Usable stretches of what is played: the run, or the excerpt of a long one.
std::vector<Stretch> stretches_shown(const RunReport& report) {
  if (!report.excerpt) return report.quality.stretches;
  std::vector<Stretch> out;
  for (Stretch part : report.quality.stretches) {
    part.from = std::max(part.from, report.excerpt->from);
    part.to = std::min(part.to, report.excerpt->to);
    if (part.to > part.from)
      out.push_back({part.from - report.excerpt->from, part.to - report.excerpt->from});
  }
  return out;
}

// The middle of the longest usable stretch.
Stretch part_of(const std::vector<Stretch>& stretches, Seconds whole, Seconds longest) {
  Stretch best{Seconds(0), whole};
  if (!stretches.empty())
    best = *std::max_element(stretches.begin(), stretches.end(), [](const Stretch& a, const Stretch& b) {
      return a.to - a.from < b.to - b.from;
    });
  const Seconds spare = best.to - best.from - longest;
  if (spare > Seconds(0)) return {best.from + 0.5 * spare, best.from + 0.5 * spare + longest};
  return best;
}

std::vector<float> ready(std::span<const float> piece, double rate_hz, double to_hz) {
  std::vector<float> out = gain_matched(resample(piece, rate_hz, to_hz));
  const auto fade = std::min(out.size() / 2, static_cast<std::size_t>(fade_s * to_hz));
  for (std::size_t i = 0; i < fade; ++i) {
    const auto share = static_cast<float>(i) / static_cast<float>(fade);
    out[i] *= share;
    out[out.size() - 1 - i] *= share;
  }
  return out;
}

std::span<const float> cut(const Recording& recording, const Stretch& part) {
  const auto place = [&](Seconds t) {
    return std::min(recording.samples.size(),
                    static_cast<std::size_t>(std::max(0.0, t.value()) * recording.sample_rate));
  };
  const std::size_t from = place(part.from);
  return std::span<const float>(recording.samples).subspan(from, std::max(from, place(part.to)) - from);
}

void append(std::string& out, std::uint32_t value, int bytes) {
  for (int i = 0; i < bytes; ++i) out += static_cast<char>(value >> (8 * i) & 0xFF);
}

}  // namespace

std::vector<Clip> clips(const Car& car, const std::vector<RunSound>& sounds, const Hearing& hearing,
                        const Diagnosis& diagnosis, const Exhibits& exhibits, const ClipSettings& settings) {
  if (diagnosis.verdict == Verdict::no_fault_heard) return {};
  return clips(car, sounds, hearing, exhibits, settings);
}

std::vector<Clip> clips(const Car& car, const std::vector<RunSound>& sounds, const Hearing& hearing,
                        const Exhibits& exhibits, const ClipSettings& settings) {
  std::vector<Clip> out;
  for (const SuspectExhibit& exhibit : exhibits.suspects) {
    if (!heard(exhibit)) continue;
    const auto run = static_cast<std::size_t>(exhibit.recording);
    const Recording& recording = hearing.sound_of(run, sounds);
    const Stretch part = part_of(stretches_shown(hearing.runs[run]), recording.duration(), settings.longest);
    const auto listening =
        listen(car, sounds, hearing, {exhibit.part, exhibit.fault, run, Emphasis::none, part});
    if (!listening) continue;  // nothing to pick out: the page then has no clip of it
    Clip clip;
    clip.part = exhibit.part;
    clip.fault = exhibit.fault;
    clip.recording = exhibit.recording;
    clip.from = part.from + (hearing.runs[run].excerpt ? hearing.runs[run].excerpt->from : Seconds(0));
    clip.duration = part.to - part.from;
    clip.low = listening->low;
    clip.high = listening->high;
    clip.rate_hz = settings.rate_hz;
    clip.alone = ready(listening->samples, listening->rate_hz, settings.rate_hz);
    if (out.empty()) clip.as_recorded = ready(cut(recording, part), recording.sample_rate, settings.rate_hz);
    out.push_back(std::move(clip));
  }
  return out;
}

std::string wav_bytes(const std::vector<float>& samples, double rate_hz) {
  const auto rate = static_cast<std::uint32_t>(std::lround(rate_hz)),
             size = static_cast<std::uint32_t>(2 * samples.size());
  std::string out = "RIFF";
  append(out, 36 + size, 4);
  out += "WAVEfmt ";
  append(out, 16, 4);
  append(out, 1, 2);  // whole numbers
  append(out, 1, 2);  // one channel
  append(out, rate, 4);
  append(out, 2 * rate, 4);
  append(out, 2, 2);
  append(out, 16, 2);
  out += "data";
  append(out, size, 4);
  for (const float s : samples)
    append(out, static_cast<std::uint32_t>(std::lround(32767.0f * std::clamp(s, -1.0f, 1.0f))), 2);
  return out;
}

}  // namespace gearhark
