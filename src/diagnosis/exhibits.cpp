#include "gearhark/diagnosis/exhibits.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <set>

#include "gearhark/diagnosis/explain.hpp"
#include "gearhark/evidence/angle_grid.hpp"
#include "gearhark/signal/envelope.hpp"
#include "gearhark/signal/fft.hpp"
#include "gearhark/signal/resample.hpp"
#include "gearhark/signal/statistics.hpp"

namespace gearhark {
namespace {

constexpr std::size_t suspects_shown = 3;
constexpr double worth_showing = 0.01;  // probability, of all but the first
constexpr std::size_t drawn_steps = 2400;
constexpr double beyond_last_mark = 1.12;
constexpr double lowest_db = -3.0;  // of what is drawn
constexpr double least_orders = 12.0;
constexpr double map_rate_hz = 16000.0;
constexpr std::size_t map_rows = 48, map_columns = 360;

float drawn_db(double over_background) {
  return static_cast<float>(std::max(lowest_db, 10.0 * std::log10(std::max(over_background, 1e-6))));
}

// over(k): power of bin k over the background.
template <class Over>
DrawnSpectrum thinned(std::size_t bins, double turns, double to, Over over) {
  const std::size_t end = std::min(bins, static_cast<std::size_t>(to * turns) + 1);
  const std::size_t per_step = std::max<std::size_t>(1, (end + drawn_steps - 1) / drawn_steps);
  DrawnSpectrum out;
  out.step = static_cast<double>(per_step) / turns;
  out.first = 0.5 * static_cast<double>(per_step - 1) / turns;
  for (std::size_t k = 0; k + per_step <= end; k += per_step) {
    double most = 0.0;
    for (std::size_t i = k; i < k + per_step; ++i) most = std::max(most, over(i));
    out.db.push_back(drawn_db(most));
  }
  return out;
}

// One suspect in the run that shows it best.
struct Shown {
  const Candidate* candidate = nullptr;
  std::size_t run = 0;  // among the heard ones
  bool engine_bound = false;
};

const Candidate* candidate_of(const Hearing& hearing, const Suspect& suspect) {
  const Candidate* best = nullptr;
  for (const Candidate& c : hearing.candidates) {
    if (c.healthy || c.part != suspect.part || c.fault != suspect.fault) continue;
    if (!best || c.lines.size() > best->lines.size()) best = &c;
  }
  return best;
}

double shown_by(const Candidate& c, std::size_t run) {
  double sum = 0.01 * c.visibility[run];  // where no line stands out: where it should sound
  for (const SeenLine& line : c.lines)
    if (line.run == run && line.chance < shown_chance) sum += std::max(0.0, line.above_background.value());
  return sum;
}

std::optional<Shown> best_shown(const Hearing& hearing, const Candidate& c) {
  std::optional<Shown> best;
  double most = -1.0;
  for (std::size_t r = 0; r < hearing.heard.size(); ++r) {
    if (c.fundamental[r] <= 0.0) continue;
    const bool engine_bound = std::any_of(c.lines.begin(), c.lines.end(),
                                          [&](const SeenLine& l) { return l.run == r && l.engine_bound; });
    if (engine_bound && !hearing.heard[r].engine) continue;
    if (shown_by(c, r) <= most) continue;
    most = shown_by(c, r);
    best = Shown{&c, r, engine_bound};
  }
  return best;
}

std::vector<Mark> marks_of(const Shown& shown, const Hearing& hearing) {
  std::vector<Mark> marks;
  const Candidate& c = *shown.candidate;
  const std::vector<EvidenceItem> items = items_of(c, hearing.index);
  for (std::size_t i = 0; i < items.size(); ++i)
    if (c.lines[i].run == shown.run)
      marks.push_back({items[i].kind, items[i].order, items[i].frequency, items[i].found});
  std::sort(marks.begin(), marks.end(), [](const Mark& a, const Mark& b) { return a.order < b.order; });
  return marks;
}

// The engine's firing and the gear pairs that carry load: what everyone hears.
std::vector<Mark> healthy_marks(const Car& car, const HeardRun& run, bool engine_bound, double to) {
  std::vector<Mark> marks;
  const double rate = engine_bound ? run.engine_rate.value() : run.wheel_rate.value();
  for (const Line& line : predicted_lines(car, run.state, run.rates)) {
    const bool told = line.sounds_healthy && line.sideband == 0 && line.harmonic == 1 && line.loaded &&
                      (line.kind == LineKind::firing || line.kind == LineKind::mesh);
    if (!told || (engine_bound ? line.rate.road_bound() : !line.rate.road_bound())) continue;
    const double order = std::abs(engine_bound ? line.rate.engine : line.rate.wheel);
    if (order <= 0.0 || order > to) continue;
    const bool firing = line.kind == LineKind::firing;
    marks.push_back({firing ? std::string("engine firing") : part_name(car, line.part) + ", teeth",
                     Order(order), Hertz(order * rate), false});
  }
  return marks;
}

// Impacts were looked for in the envelope; whether their lines stand out among the tones too is asked anew.
std::vector<Mark> among_tones(std::vector<Mark> marks, const Candidate& c, const OrderSpectrum& tones) {
  if (c.kind != EvidenceKind::events) return marks;
  for (Mark& mark : marks) {
    const double order = mark.order.value();
    mark.found = tones.strength(order, tones.usual_half_width(order)).chance < shown_chance;
  }
  return marks;
}

// How far the axis goes: past the last line looked for.
double axis_end(const std::vector<Mark>& marks, const Candidate& c, std::size_t run) {
  double last = c.fundamental[run] * 3.0;
  if (!marks.empty()) last = marks.back().order.value();
  return std::max(least_orders, beyond_last_mark * last);
}

// Cuts a signal of equal angle steps into rows of spectra, each over its own background.
OrderMap map_of(const std::vector<float>& samples, double rate_hz, const AngleTrack& shaft, double to,
                double duration_s) {
  OrderMap map;
  const double total = shaft.at(duration_s) - shaft.at(0.0);
  const double per_turn = 2.56 * to;  // values
  const std::size_t row_points =
      good_length(static_cast<std::size_t>(2.0 * per_turn * total / static_cast<double>(map_rows)));
  const double row_turns = static_cast<double>(row_points) / per_turn;
  if (total < 2.0 * row_turns) return map;
  const auto hop_turns = (total - row_turns) / static_cast<double>(map_rows - 1);
  const RealFft fft(row_points);
  std::vector<std::complex<float>> bins(row_points / 2 + 1);
  for (std::size_t row = 0; row < map_rows; ++row) {
    auto values =
        by_equal_angle(samples, rate_hz, shaft, shaft.at(0.0) + static_cast<double>(row) * hop_turns,
                       1.0 / per_turn, row_points);
    double mean = 0.0;
    for (const float v : values) mean += static_cast<double>(v) / static_cast<double>(values.size());
    for (std::size_t i = 0; i < values.size(); ++i)
      values[i] = (values[i] - static_cast<float>(mean)) *
                  static_cast<float>(0.5 - 0.5 * std::cos(2 * std::numbers::pi * static_cast<double>(i) /
                                                          static_cast<double>(row_points)));
    fft.forward(values, bins);
    std::vector<float> power(bins.size());
    for (std::size_t k = 0; k < bins.size(); ++k) power[k] = std::norm(bins[k]);
    const std::vector<float> background =
        exponential_background(power, std::max<std::size_t>(31, static_cast<std::size_t>(4.0 * row_turns)));
    for (std::size_t c = 0; c < map_columns; ++c) {
      const double width = to * row_turns / static_cast<double>(map_columns);  // bins
      const auto from = static_cast<std::size_t>(static_cast<double>(c) * width);
      const auto past = std::max(from + 1, static_cast<std::size_t>(static_cast<double>(c + 1) * width));
      double most = 0.0;
      for (std::size_t k = from; k < std::min(past, power.size()); ++k)
        most = std::max(most, static_cast<double>(power[k]) / (static_cast<double>(background[k]) + 1e-20));
      map.db.push_back(drawn_db(most));
    }
  }
  map.rows = map_rows;
  map.columns = map_columns;
  map.duration = Seconds(duration_s);
  map.to = to;
  return map;
}

OrderMap order_map(const Recording& recording, const AngleTrack& shaft, const Candidate& c, double to) {
  const std::vector<float> sound = resample(recording.samples, recording.sample_rate, map_rate_hz);
  const double duration = static_cast<double>(sound.size()) / map_rate_hz;
  if (c.kind != EvidenceKind::events) return map_of(sound, map_rate_hz, shaft, to, duration);
  std::vector<float> envelope = band_envelope(sound, map_rate_hz, c.band_low, c.band_high);
  // Bumps would paint whole rows: the logarithm tames them.
  for (float& value : envelope) value = std::log(value + 1e-9f);
  OrderMap map = map_of(envelope, map_rate_hz, shaft, to, duration);
  map.of_envelope = true;
  return map;
}

std::vector<RunLevel> levels_of(const Candidate& c, const Hearing& hearing) {
  std::vector<RunLevel> levels;
  for (std::size_t r = 0; r < hearing.heard.size(); ++r) {
    RunLevel level;
    level.recording = hearing.index[r];
    level.expected = c.visibility[r];
    for (const SeenLine& line : c.lines) {
      if (line.run != r) continue;
      ++level.looked_for;
      if (line.chance < shown_chance) ++level.found;
      if (!level.strongest || *level.strongest < line.above_background)
        level.strongest = line.above_background;
    }
    levels.push_back(level);
  }
  return levels;
}

std::optional<SuspectExhibit> exhibit_of(const Car& car, const Hearing& hearing, const Suspect& suspect) {
  const Candidate* c = candidate_of(hearing, suspect);
  if (!c) return std::nullopt;
  const auto shown = best_shown(hearing, *c);
  if (!shown) return std::nullopt;
  const HeardRun& run = hearing.heard[shown->run];
  const OnShaft& spectra = shown->engine_bound ? *run.engine : run.wheel;
  SuspectExhibit out;
  out.part = suspect.part;
  out.fault = suspect.fault;
  out.recording = hearing.index[shown->run];
  out.engine_bound = shown->engine_bound;
  out.mean_rate = shown->engine_bound ? run.engine_rate : run.wheel_rate;
  out.band_low = c->band_low;
  out.band_high = c->band_high;
  out.levels = levels_of(*c, hearing);
  const std::vector<Mark> marks = marks_of(*shown, hearing);
  const double to = axis_end(marks, *c, shown->run);
  const OrderSpectrum& tones = spectra.tones;
  out.tones = thinned(tones.power.size(), tones.turns, to, [&](std::size_t k) {
    return static_cast<double>(tones.power[k]) / static_cast<double>(tones.background[k]);
  });
  out.tones.marks = among_tones(marks, *c, tones);
  out.tones.healthy = healthy_marks(car, run, shown->engine_bound, to);
  const EnvelopeSpectra& envelopes = spectra_for(spectra, c->fault);
  if (c->kind == EvidenceKind::events && c->group < envelopes.groups.size() &&
      envelopes.groups[c->group].bins() > 0) {
    const GroupSpectrum& group = envelopes.groups[c->group];
    out.envelope =
        thinned(group.bins(), envelopes.turns, to, [&](std::size_t k) { return group.mean(k, k + 1); });
    out.envelope->marks = marks;
  }
  return out;
}

void add_map(SuspectExhibit& out, const Hearing& hearing, const Suspect& suspect,
             const std::vector<RunSound>& sounds) {
  const auto i = static_cast<std::size_t>(out.recording);
  const Tracking& tracking = hearing.runs[i].tracking;
  if (out.engine_bound && !tracking.engine) return;
  const DrawnSpectrum& drawn = out.envelope ? *out.envelope : out.tones;
  OrderMap map =
      order_map(hearing.sound_of(i, sounds), out.engine_bound ? *tracking.engine : tracking.wheel,
                *candidate_of(hearing, suspect), drawn.step * static_cast<double>(drawn.db.size()));
  if (map.rows == 0) return;
  map.marks = drawn.marks;
  out.map = std::move(map);
}

// What was told, at a time from the start of the run: straight lines between the points.
double told_at(const std::vector<SpeedPoint>& points, double seconds) {
  const auto after = std::find_if(points.begin(), points.end(),
                                  [&](const SpeedPoint& p) { return p.time.value() > seconds; });
  if (after == points.begin()) return points.front().speed.value();
  if (after == points.end()) return points.back().speed.value();
  const SpeedPoint &a = *(after - 1), &b = *after;
  const double share = (seconds - a.time.value()) / (b.time - a.time).value();
  return a.speed.value() + share * (b.speed - a.speed).value();
}

// A log with its own clock, a range, or a rev counter says no speed at a time of the recording.
bool told_over_time(const StatedSpeed& stated) {
  const bool speeds = stated.source == SpeedSource::needle || stated.source == SpeedSource::satellite;
  return speeds && !stated.own_clock && !stated.points.empty() && !stated.shaft_rate && !stated.engine_rate;
}

std::vector<SpeedCurve> speed_curves(const Car& car, const Hearing& hearing) {
  constexpr double step_s = 0.25;
  std::vector<SpeedCurve> curves;
  for (const int i : hearing.index) {
    const RunReport& report = hearing.runs[static_cast<std::size_t>(i)];
    const bool told = told_over_time(report.run.speed);
    SpeedCurve curve;
    curve.recording = i;
    curve.step = Seconds(step_s);
    const double from = report.excerpt ? report.excerpt->from.value() : 0.0;
    for (double t = 0.0; t <= report.tracking.wheel.duration(); t += step_s) {
      const Speed found = ShaftRate(report.tracking.wheel.rate_at(t)) * car.tyre.rolling_circumference;
      curve.found_mps.push_back(found.value());
      if (told) curve.told_mps.push_back(told_at(report.run.speed.points, from + t));
    }
    curves.push_back(std::move(curve));
  }
  return curves;
}

// Each gear and clutch once, at the speed found in the first run that had it.
std::vector<OrderTable> tables_of(const Car& car, const Hearing& hearing) {
  std::vector<OrderTable> tables;
  std::set<std::pair<std::string, Clutch>> seen;
  for (const HeardRun& run : hearing.heard) {
    if (!seen.insert({run.state.gear.label, run.state.clutch}).second) continue;
    OrdersQuestion question;
    question.state = run.state;
    question.speed = run.wheel_rate * car.tyre.rolling_circumference;
    if (auto table = order_table(car, question)) tables.push_back(*std::move(table));
  }
  return tables;
}

}  // namespace

Exhibits exhibits(const Car& car, const std::vector<RunSound>& sounds, const Hearing& hearing,
                  const Diagnosis& diagnosis) {
  Exhibits out;
  for (std::size_t i = 0; i < std::min(suspects_shown, diagnosis.suspects.size()); ++i) {
    if (i > 0 && diagnosis.suspects[i].probability.value() < worth_showing) break;
    auto exhibit = exhibit_of(car, hearing, diagnosis.suspects[i]);
    if (!exhibit) continue;
    if (i == 0) add_map(*exhibit, hearing, diagnosis.suspects[i], sounds);
    out.suspects.push_back(*std::move(exhibit));
  }
  out.speeds = speed_curves(car, hearing);
  out.tables = tables_of(car, hearing);
  return out;
}

Exhibits exhibits_of_part(const Car& car, const std::vector<RunSound>& sounds, Hearing& hearing,
                          const std::string& part, Fault fault) {
  for (Candidate& c : hearing.candidates)
    if (!c.healthy && c.part == part && c.fault == fault && c.lines.empty()) show_lines(c, hearing.heard);
  Suspect suspect;
  suspect.part = part;
  suspect.fault = fault;
  Exhibits out;
  if (auto exhibit = exhibit_of(car, hearing, suspect)) {
    add_map(*exhibit, hearing, suspect, sounds);
    out.suspects.push_back(*std::move(exhibit));
  }
  out.speeds = speed_curves(car, hearing);
  out.tables = tables_of(car, hearing);
  return out;
}

}  // namespace gearhark
