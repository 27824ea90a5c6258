#include <algorithm>
#include <cmath>

#include "gearhark/diagnosis/bundle.hpp"
#include "gearhark/signal/statistics.hpp"

namespace gearhark {
namespace {

// A gap in the sound makes the clock run ahead of the frames for good; a busy page makes single anchors late.
constexpr double gap_s = 0.03;
constexpr std::size_t around = 3;          // anchors that must agree on what is late
constexpr double looked_ahead_s = 60.0;    // no page is busy for longer
constexpr std::size_t looked_ahead = 600;  // anchors at most
constexpr double slope_over_s = 30.0;      // quartz drifts by less than the lateness of an anchor in less
constexpr double beyond_the_last_s =
    15.0;                         // a piece that was cut off by a call has sound after its last anchor
constexpr double close_s = 0.01;  // late by more: not fitted to

// Of the sound's own time x = frame / stated rate: how far the clock is ahead of it, y.
struct Lead {
  double x, y;
};

// Seconds of lead per second: the middle slope over half a minute, or an eighth of the piece, so that few of
// the pairs have a gap between them.
double slope_of(const std::vector<Lead>& leads) {
  const double over = std::min(slope_over_s, 0.125 * (leads.back().x - leads.front().x));
  std::vector<double> slopes;
  for (std::size_t i = 0, j = 0; i < leads.size(); ++i) {
    while (j < leads.size() && leads[j].x - leads[i].x < over) ++j;
    if (j < leads.size() && j > i) slopes.push_back((leads[j].y - leads[i].y) / (leads[j].x - leads[i].x));
  }
  if (slopes.size() >= around) return middle_value(slopes);
  // Lateness alone never makes the clock fall behind: then the stated rate is wrong.
  const double whole = (leads.back().y - leads.front().y) / std::max(1e-9, leads.back().x - leads.front().x);
  return whole < -0.01 ? whole : 0.0;
}

double least(const std::vector<Lead>& leads, double slope, std::size_t from, std::size_t to) {
  double out = INFINITY;
  for (std::size_t i = from; i < to; ++i) out = std::min(out, leads[i].y - slope * leads[i].x);
  return out;
}

// Index of the first anchor after each gap. Even the least late of the anchors that follow is later than the
// least late of those before.
std::vector<std::size_t> gaps_in(const std::vector<Lead>& leads, double slope) {
  std::vector<std::size_t> out;
  std::size_t start = 0;
  for (std::size_t i = 1; i < leads.size(); ++i) {
    std::size_t ahead = i;
    while (ahead < std::min(leads.size(), i + looked_ahead) &&
           (ahead < i + around || leads[ahead].x - leads[i].x < looked_ahead_s))
      ++ahead;
    const std::size_t back = i - std::min(i - start, around);
    if (least(leads, slope, i, ahead) - least(leads, slope, back, i) < gap_s) continue;
    out.push_back(i);
    start = i;
  }
  return out;
}

struct Drift {
  double at_zero = 0.0, slope = 0.0;
  [[nodiscard]] double at(double x) const { return at_zero + slope * x; }
};

Drift least_squares(const std::vector<Lead>& leads, double given_slope) {
  const auto n = static_cast<double>(leads.size());
  double x = 0.0, y = 0.0, xx = 0.0, xy = 0.0;
  for (const Lead& lead : leads) {
    x += lead.x / n;
    y += lead.y / n;
  }
  for (const Lead& lead : leads) {
    xx += (lead.x - x) * (lead.x - x);
    xy += (lead.x - x) * (lead.y - y);
  }
  // A short piece does not say how the clocks drift: a few ms of lateness would pass for it.
  const bool long_enough = leads.size() >= around && leads.back().x - leads.front().x >= slope_over_s;
  const double slope = long_enough ? xy / xx : given_slope;
  return {y - slope * x, slope};
}

// Anchors are late, never early: those that are later than the middle by more than usual are dropped.
Drift line_through(std::vector<Lead> leads, double given_slope) {
  Drift line{middle_value([&] {
               std::vector<double> rest;
               for (const Lead& lead : leads) rest.push_back(lead.y - given_slope * lead.x);
               return rest;
             }()),
             given_slope};
  for (int round = 0; round < 5; ++round) {
    std::vector<double> off;
    for (const Lead& lead : leads) off.push_back(std::abs(lead.y - line.at(lead.x)));
    const double most = std::max(close_s, 4.0 * middle_value(off));
    const auto late = [&](const Lead& lead) { return lead.y - line.at(lead.x) > most; };
    leads.erase(std::remove_if(leads.begin(), leads.end(), late), leads.end());
    if (leads.empty()) break;
    line = least_squares(leads, given_slope);
  }
  return line;
}

double spread_of(const std::vector<Lead>& leads, const Drift& line) {
  std::vector<double> off;
  for (const Lead& lead : leads) off.push_back(std::abs(lead.y - line.at(lead.x)));
  return middle_value(off);
}

}  // namespace

std::vector<ClockStretch> clock_of(const std::vector<ClockAnchor>& anchors, double rate_hz, double frames) {
  std::vector<Lead> leads;
  for (const ClockAnchor& anchor : anchors)
    leads.push_back({anchor.frame / rate_hz, anchor.time.value() - anchor.frame / rate_hz});
  if (leads.empty()) return {};
  const double slope = slope_of(leads);
  std::vector<std::size_t> ends = gaps_in(leads, slope);
  ends.push_back(leads.size());
  std::vector<ClockStretch> out;
  for (std::size_t first = 0; const std::size_t end : ends) {
    const std::vector<Lead> part(leads.begin() + static_cast<long>(first),
                                 leads.begin() + static_cast<long>(end));
    const Drift line = line_through(part, slope);
    const bool last = end == leads.size();
    ClockStretch s;
    s.first_frame = first == 0 ? 0.0 : anchors[first].frame;
    s.end_frame = std::min(frames, anchors[end - 1].frame + (last ? beyond_the_last_s * rate_hz : 0.0));
    s.rate = rate_hz / (1.0 + line.slope);
    const double x = s.first_frame / rate_hz;
    s.from = Seconds(x + line.at(x));
    s.to = s.from + Seconds((s.end_frame - s.first_frame) / s.rate);
    s.drift_ppm = 1e6 * (s.rate / rate_hz - 1.0);
    s.spread_s = spread_of(part, line);
    if (s.end_frame > s.first_frame) out.push_back(s);
    first = end;
  }
  return out;
}

}  // namespace gearhark
