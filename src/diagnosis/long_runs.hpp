// Runs that are too long to be held, heard in two passes over their pieces: the first finds quality and
// speed, the second makes the spectra.
#pragma once

#include <optional>
#include <vector>

#include "gearhark/diagnosis/diagnosis.hpp"
#include "gearhark/evidence/heard_run.hpp"
#include "gearhark/speed/pieces.hpp"

namespace gearhark {

// What is wrong with a run and its speed, a sentence each.
std::vector<std::string> problems_of(const RecordingQuality& quality, const Tracking& tracking);

class LongRun {
 public:
  // The first pass.
  LongRun(const Car& car, const RunSound& sound);

  // The piece that stands for all where the runs of a road test are tracked together, and what that made of
  // it.
  [[nodiscard]] RunInput excerpt_input() const;
  void excerpt_found(Tracking tracking);

  // The second pass: pieces whose speed is found near the others' are heard after all. `placed`: the angle
  // may be relied on though it was found in no piece. Nothing: none could be heard.
  std::optional<HeardRun> hear(bool placed);

  [[nodiscard]] Tracking tracking() const;
  [[nodiscard]] RunReport report() const;
  RunSound take_part();  // the excerpt as a run of its own
  Recording take_excerpt() { return std::move(excerpt_); }

 private:
  [[nodiscard]] Run run_within(std::size_t piece) const;
  void lay_log();
  void keep_if_clearer(std::size_t piece, Recording& sound);
  void read_excerpt_again();
  void track_again(std::size_t piece, const Recording& sound, std::optional<double> scale);
  [[nodiscard]] PieceListener::Turns usual_turns() const;

  const Car& car_;
  const RunSound& sound_;
  Run run_;  // with its log laid against the sound
  RecordingQuality quality_;
  std::vector<TrackedPiece> pieces_;
  std::size_t shown_ = 0;
  Recording excerpt_;
  std::string problem_;  // of reading
};

}  // namespace gearhark
