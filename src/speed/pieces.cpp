#include "gearhark/speed/pieces.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>

#include "gearhark/signal/statistics.hpp"

namespace gearhark {
namespace {

bool found(const TrackedPiece& piece) { return piece.tracking.certainty != Certainty::lost; }

// Angles a second apart, the pieces' one after the other. Where nothing was found they are what was stated.
AngleTrack laid_end_to_end(std::span<const TrackedPiece> pieces) {
  AngleTrack out;
  out.step_s = 1.0;
  double turned = 0.0, next = 0.0;
  for (const TrackedPiece& piece : pieces) {
    const AngleTrack& wheel = piece.tracking.wheel;
    const double from = piece.from.value(), length = piece.length.value(), first = wheel.at(0.0);
    for (; next < from + length; next += out.step_s)
      out.turns.push_back(turned + wheel.at(next - from) - first);
    turned += wheel.at(length) - first;
  }
  return out;
}

double minutes(double seconds) { return seconds / 60.0; }

}  // namespace

StatedSpeed stated_within(const StatedSpeed& stated, Seconds from, Seconds length) {
  constexpr double about_s = 8.0;  // a satellite's lag, and something to smooth over
  StatedSpeed out = stated;
  out.own_clock = false;
  const bool log = stated.source == SpeedSource::satellite && stated.points.size() > 8;
  if (stated.source == SpeedSource::range) return out;
  for (SpeedPoint& point : out.points) point.time -= from;
  if (!log) return out;
  const auto near = [&](const SpeedPoint& p) {
    return p.time.value() >= -about_s && p.time.value() <= length.value() + about_s;
  };
  std::vector<SpeedPoint> about;
  std::copy_if(out.points.begin(), out.points.end(), std::back_inserter(about), near);
  if (about.empty()) {
    const auto distance = [](const SpeedPoint& p) { return std::abs(p.time.value()); };
    about.push_back(*std::min_element(
        out.points.begin(), out.points.end(),
        [&](const SpeedPoint& a, const SpeedPoint& b) { return distance(a) < distance(b); }));
  }
  out.points = std::move(about);
  return out;
}

CommonDrive common_drive(std::span<const TrackedPiece> pieces, const Gear& stated) {
  std::map<std::pair<std::string, bool>, double> seconds;
  CommonDrive best{stated};
  double most = 0.0;
  for (const TrackedPiece& piece : pieces) {
    if (!found(piece)) continue;
    const bool apart = piece.tracking.engine.has_value();
    const double sum = seconds[{piece.tracking.gear.label, apart}] += piece.length.value();
    if (sum <= most) continue;
    most = sum;
    best = {piece.tracking.gear, apart};
  }
  return best;
}

bool relied_on(const TrackedPiece& piece, const CommonDrive& common) {
  return found(piece) && piece.tracking.gear == common.gear &&
         piece.tracking.engine.has_value() == common.engine_apart;
}

std::optional<double> common_scale(std::span<const TrackedPiece> pieces, const CommonDrive& common) {
  std::vector<double> scales;
  for (const TrackedPiece& piece : pieces)
    if (relied_on(piece, common) && piece.tracking.certainty == Certainty::sure)
      scales.push_back(piece.tracking.scale);
  if (scales.empty()) return {};
  return middle_value(std::move(scales));
}

std::size_t clearest(std::span<const TrackedPiece> pieces, const CommonDrive& common) {
  const auto rank = [&](const TrackedPiece& piece) {
    const int certainty = !relied_on(piece, common) ? 0 : piece.tracking.certainty == Certainty::sure ? 2 : 1;
    return std::pair(certainty, piece.tracking.lines_used.size());
  };
  std::size_t best = pieces.size() / 2;
  for (std::size_t i = 0; i < pieces.size(); ++i)
    if (rank(pieces[i]) > rank(pieces[best])) best = i;
  return best;
}

Tracking joined(std::span<const TrackedPiece> pieces, std::size_t shown, const Gear& stated) {
  const CommonDrive common = common_drive(pieces, stated);
  Tracking out;
  double turned = 0.0, said = 0.0, sure_s = 0.0, used_s = 0.0, other_drive_s = 0.0, all_s = 0.0;
  std::vector<double> relative_sd;
  for (const TrackedPiece& piece : pieces) {
    const Tracking& tracking = piece.tracking;
    const double length = piece.length.value();
    all_s += length;
    if (!relied_on(piece, common)) {
      other_drive_s += found(piece) ? length : 0.0;
      continue;
    }
    const double turns = tracking.wheel.at(length) - tracking.wheel.at(0.0);
    turned += turns;
    said += turns / tracking.scale;
    used_s += length;
    if (tracking.certainty == Certainty::sure) sure_s += length;
    relative_sd.push_back(tracking.scale_sd / tracking.scale);
  }
  const Tracking& one = pieces[shown].tracking;
  out.wheel = laid_end_to_end(pieces);
  out.gear = common.gear;
  out.lines_used = one.lines_used;
  out.remarks = one.remarks;
  if (used_s <= 0.0) {
    out.scale = one.scale;
    out.scale_sd = one.scale_sd;
    out.wheel_rate_sd = one.wheel_rate_sd;
    return out;
  }
  out.certainty = 2.0 * sure_s >= used_s ? Certainty::sure : Certainty::doubtful;
  out.scale = turned / said;
  const double usual_sd = middle_value(std::move(relative_sd));
  out.scale_sd = usual_sd * out.scale;
  out.wheel_rate_sd = usual_sd * turned / used_s;
  if (other_drive_s > 0.0)
    out.remarks.push_back(
        fmt::format("In {:.1f} of {:.0f} minutes another gear than {}, or an engine that turns apart from "
                    "it, fits the sound better; they were left out.",
                    minutes(other_drive_s), minutes(all_s), common.gear.label));
  if (const double lost_s = all_s - used_s - other_drive_s; lost_s > 0.5)
    out.remarks.push_back(fmt::format(
        "In {:.1f} of {:.0f} minutes the sound does not support the stated speed; they were left out.",
        minutes(lost_s), minutes(all_s)));
  return out;
}

}  // namespace gearhark
