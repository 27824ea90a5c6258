#include "long_runs.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "gearhark/diagnosis/hearing.hpp"
#include "gearhark/signal/statistics.hpp"
#include "gearhark/units/memory.hpp"

namespace gearhark {
namespace {

Seconds seconds_of(std::size_t samples, const Recording& recording) {
  return Seconds(static_cast<double>(samples) / recording.sample_rate);
}

double turned(const AngleTrack& track, Seconds length) { return track.at(length.value()) - track.at(0.0); }

}  // namespace

std::vector<std::string> problems_of(const RecordingQuality& quality, const Tracking& tracking) {
  std::vector<std::string> sentences;
  for (const Problem& problem : quality.problems) sentences.push_back(problem.sentence + " " + problem.cure);
  sentences.insert(sentences.end(), tracking.remarks.begin(), tracking.remarks.end());
  return sentences;
}

LongRun::LongRun(const Car& car, const RunSound& sound) : car_(car), sound_(sound), run_(sound.run) {
  give_back_freed_memory();
  lay_log();
  QualityOfPieces quality;
  const auto error = sound.pieces->read([&](std::size_t i, Recording& piece) {
    quality.add(piece);
    const Seconds from = seconds_of(sound.pieces->first_sample(i), sound.recording);
    pieces_.push_back({from, piece.duration(), {}});
    pieces_.back().tracking = track(piece.samples, piece.sample_rate, car_, run_within(i));
    keep_if_clearer(i, piece);
    return true;
  });
  if (error) problem_ = error->sentence;
  quality_ = quality.whole();
}

// Each piece has the whole log before it, but only where they belong together is asked of some.
void LongRun::lay_log() {
  if (!run_.speed.own_clock) return;
  constexpr std::size_t some = 3;
  std::vector<Recording> kept;
  std::vector<Excerpt> excerpts;
  (void)sound_.pieces->read([&](std::size_t i, Recording& piece) {
    const std::size_t next = (2 * kept.size() + 1) * sound_.pieces->pieces / (2 * some);
    if (i < next) return true;
    excerpts.push_back({{}, piece.sample_rate, seconds_of(sound_.pieces->first_sample(i), sound_.recording)});
    kept.push_back(std::move(piece));
    return kept.size() < some;
  });
  for (std::size_t i = 0; i < kept.size(); ++i) excerpts[i].samples = kept[i].samples;
  const Seconds length = seconds_of(sound_.pieces->samples, sound_.recording);
  const Seconds start = start_in_log(car_, run_, length, excerpts);
  for (SpeedPoint& point : run_.speed.points) point.time -= start;
  run_.speed.own_clock = false;
}

Run LongRun::run_within(std::size_t piece) const {
  Run run = run_;
  run.speed = stated_within(run_.speed, pieces_[piece].from, pieces_[piece].length);
  return run;
}

void LongRun::keep_if_clearer(std::size_t piece, Recording& sound) {
  const std::size_t best = clearest(pieces_, common_drive(pieces_, run_.gear));
  if (best != piece && !excerpt_.samples.empty()) return;
  shown_ = piece;
  excerpt_ = std::move(sound);
}

RunInput LongRun::excerpt_input() const {
  if (pieces_.empty()) return {run_, excerpt_.samples, sound_.recording.sample_rate};
  return {run_within(shown_), excerpt_.samples, sound_.recording.sample_rate};
}

void LongRun::excerpt_found(Tracking tracking) {
  if (!pieces_.empty()) pieces_[shown_].tracking = std::move(tracking);
}

// Silence where that fails.
void LongRun::read_excerpt_again() {
  const auto error = sound_.pieces->read([&](std::size_t i, Recording& piece) {
    if (i == shown_) excerpt_.samples = std::move(piece.samples);
    return i < shown_;
  });
  if (!error) return;
  problem_ = error->sentence;
  excerpt_.samples.resize(sound_.pieces->first_sample(shown_ + 1) - sound_.pieces->first_sample(shown_));
}

// Where it was lost in the first pass it is sought again near what the others, or the other runs, say.
void LongRun::track_again(std::size_t piece, const Recording& sound, std::optional<double> scale) {
  Tracking& tracking = pieces_[piece].tracking;
  if (piece == shown_ || tracking.certainty != Certainty::lost || !scale) return;
  tracking = track_near(*scale, sound.samples, sound.sample_rate, car_, run_within(piece));
}

PieceListener::Turns LongRun::usual_turns() const {
  const CommonDrive common = common_drive(pieces_, run_.gear);
  const bool any = std::any_of(pieces_.begin(), pieces_.end(),
                               [&](const TrackedPiece& piece) { return relied_on(piece, common); });
  std::vector<double> wheel, engine;
  for (const TrackedPiece& piece : pieces_) {
    if (any && !relied_on(piece, common)) continue;
    wheel.push_back(turned(piece.tracking.wheel, piece.length));
    if (piece.tracking.engine) engine.push_back(turned(*piece.tracking.engine, piece.length));
  }
  return {middle_value(std::move(wheel)), middle_value(std::move(engine))};
}

std::optional<HeardRun> LongRun::hear(bool placed) {
  if (pieces_.empty()) return {};
  const CommonDrive common = common_drive(pieces_, run_.gear);
  std::optional<double> scale = common_scale(pieces_, common);
  const Tracking& shown = pieces_[shown_].tracking;
  if (!scale && run_.speed.source != SpeedSource::range && (placed || shown.certainty != Certainty::lost))
    scale = shown.scale;
  const bool any = std::any_of(pieces_.begin(), pieces_.end(),
                               [&](const TrackedPiece& piece) { return relied_on(piece, common); });
  if (!any && !placed) return {};
  PieceListener listener(car_, run_, sound_.recording.sample_rate, quality_.bandwidth, usual_turns());
  bool heard = false;
  // A tenth of all memory while the pieces are listened to. What is free lies scattered, and it is quicker to
  // begin anew than to find room in it.
  std::vector<float>().swap(excerpt_.samples);
  give_back_freed_memory();
  const auto error = sound_.pieces->read([&](std::size_t i, Recording& piece) {
    if (i >= pieces_.size()) return false;
    track_again(i, piece, scale);
    if (any && !relied_on(pieces_[i], common)) return true;
    listener.add(std::move(piece.samples), pieces_[i].tracking);
    return heard = true;
  });
  if (error) problem_ = error->sentence;
  give_back_freed_memory();
  read_excerpt_again();
  if (!heard) return {};
  return std::move(listener).heard();
}

// Of all pieces.
Tracking LongRun::tracking() const {
  return pieces_.empty() ? Tracking{} : joined(pieces_, shown_, run_.gear);
}

RunReport LongRun::report() const {
  RunReport report;
  report.run = sound_.run;
  report.facts = sound_.recording.facts;
  report.quality = quality_;
  if (!pieces_.empty()) {
    report.tracking = tracking();
    report.mean_wheel = ShaftRate(report.tracking.wheel.mean_rate());
    report.mean_wheel_sd = ShaftRate(report.tracking.wheel_rate_sd);
    report.tracking.wheel = pieces_[shown_].tracking.wheel;
    report.tracking.engine = pieces_[shown_].tracking.engine;
    report.excerpt = Stretch{pieces_[shown_].from, pieces_[shown_].from + pieces_[shown_].length};
  }
  report.problems = problems_of(quality_, report.tracking);
  if (!problem_.empty()) report.problems.push_back(problem_);
  return report;
}

RunSound LongRun::take_part() {
  RunSound part{sound_.run, std::move(excerpt_), nullptr};
  if (pieces_.empty()) return part;
  const TrackedPiece& shown = pieces_[shown_];
  part.run = run_within(shown_);
  const Seconds start = part.run.from.value_or(Seconds(0.0)) + shown.from;
  part.run.from = start;
  part.run.to = start + shown.length;
  return part;
}

Tracking tracked_in_pieces(const Car& car, const RunSound& sound) { return LongRun(car, sound).tracking(); }

RunSound clearest_part(const Car& car, RunSound sound) {
  if (!sound.pieces) return sound;
  return LongRun(car, sound).take_part();
}

Seconds length_of(const RunSound& sound) {
  return sound.pieces ? seconds_of(sound.pieces->samples, sound.recording) : sound.recording.duration();
}

}  // namespace gearhark
