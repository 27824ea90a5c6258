#include "gearhark/evidence/event_comb.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <span>
#include <utility>

#include "gearhark/signal/distributions.hpp"
#include "wide/comb_loops.hpp"

namespace gearhark {
namespace {

// The prior of strengths falls by a tenth of a nat per octave, because faults start small.
constexpr double first_strength_octave = -2.0;
constexpr double strength_prior_fall = 0.1 * strength_step_octaves;
constexpr double usual_turns = 300.0;  // a strength is stated for a run of this many turns
// Nats one line may add: no single line proves a comb. A knock is so short that many turns of its shaft sound
// about alike, so a few of them prove less still.
float line_cap(Fault fault) { return fault == Fault::chipped_tooth ? 8.0f : 14.0f; }
constexpr float most_freedom = 50.0f;  // model error, not noise, rules beyond this

double octaves_of(std::size_t step) {
  return first_strength_octave + strength_step_octaves * static_cast<double>(step);
}

constexpr std::array<double, 3> widths = {0.0012, 0.004, 0.010};  // of the line's order: what slip smears
constexpr std::array<double, 3> locked_widths = {0.0, 0.0015, 0.004};  // shaft-locked events do not slip

constexpr std::array<double, 3> joint_widths = {0.003, 0.010,
                                                0.020};  // a dry joint sticks and slips as it likes

const std::array<double, 3>& smear_of(Fault fault) {
  if (fault == Fault::chipped_tooth) return locked_widths;
  return fault == Fault::dry_joint ? joint_widths : widths;
}

// One line of a comb: harmonic x fundamental + side x modulation. Harmonic 0: the modulation's own lines,
// which an element makes as the cage carries it through the loaded zone.
struct CombLine {
  double harmonic;
  int side;
  double presence;  // probability of being visible when the fault is
  double power;     // relative to a main line
};

// Of the modulation's own lines the first: as smooth as a loaded zone is, it is the strongest.
bool is_main(const CombLine& line) { return line.side == 0 || (line.harmonic == 0.0 && line.side == 1); }

struct Harmonic {
  double harmonic, presence;
};
// How often each harmonic was visible in experiments with combs of bearing faults (judged, 2026).
constexpr std::array<Harmonic, 6> race_harmonics = {{{1, .85}, {2, .75}, {3, .6}, {4, .5}, {5, .4}, {6, .4}}};
// The fundamental of an element is the rate at which it strikes both races, twice its spin; damage that
// strikes one race only shows at the halves.
constexpr std::array<Harmonic, 6> element_harmonics = {
    {{1, .8}, {2, .65}, {3, .5}, {4, .4}, {.5, .5}, {1.5, .4}}};

// A machine that turns healthily shows a few of its turns, any of them.
constexpr std::array<Harmonic, 8> turning_harmonics = {
    {{1, .5}, {2, .5}, {3, .4}, {4, .4}, {5, .3}, {6, .3}, {7, .25}, {8, .25}}};

std::vector<CombLine> chipped_tooth_lines(int teeth) {
  std::vector<CombLine> lines;
  for (int h = 3; h <= 12; ++h)
    if (teeth == 0 || h % teeth != 0) lines.push_back({static_cast<double>(h), 0, .6, 1.0});
  return lines;
}

std::vector<CombLine> comb_of(const Family& family, bool modulated) {
  if (family.fault == Fault::chipped_tooth) return chipped_tooth_lines(family.elements);
  std::vector<CombLine> lines;
  if (family.fault == Fault::out_of_balance) {
    for (const auto& [harmonic, presence] : turning_harmonics) lines.push_back({harmonic, 0, presence, 1.0});
    return lines;
  }
  for (const auto& [harmonic, presence] :
       family.fault == Fault::rolling_element ? element_harmonics : race_harmonics)
    lines.push_back({harmonic, 0, presence, 1.0});
  if (modulated && family.fault == Fault::rolling_element)
    for (int turn = 1; turn <= 4; ++turn) lines.push_back({0.0, turn, turn <= 2 ? .5 : .4, 1.0});
  // Two turns beside a joint's line stands its next.
  const bool joint = family.fault == Fault::dry_joint;
  if (modulated)
    for (int h = 1; h <= 3; ++h)
      for (const int side : joint ? std::vector{-1, 1} : std::vector{-2, -1, 1, 2})
        lines.push_back({static_cast<double>(h), side, std::abs(side) == 1 ? .35 : .2, 0.5});
  return lines;
}

// Where one line is looked for: bins [from, to), with the flanks that give the local background.
struct Window {
  std::size_t from, to, left_from, left_to, right_from, right_to;
  bool usable = false, masked = false;
  double reach = HUGE_VAL;  // bins: a spectrum must have more
};

Window window_at(double order, double width, const EnvelopeSpectra& spectra, std::size_t bins) {
  Window w{};
  const double centre = order * spectra.turns;
  const double half = std::max(1.5, 0.5 * width * centre);
  const double gap = std::max(1.0, 0.5 * half), flank = std::max(8.0, 2.5 * half);
  const double reach = centre + half + gap + flank + 2.0;
  if (centre - half - gap - flank < 1.0 || reach >= static_cast<double>(bins)) return w;
  w.reach = reach;
  const auto bin = [](double position) { return static_cast<std::size_t>(position + 0.5); };
  w.from = bin(centre - half);
  w.to = std::max(bin(centre + half) + 1, w.from + 3);
  w.left_to = w.from - bin(gap);
  w.left_from = w.left_to - bin(flank);
  w.right_from = w.to + bin(gap);
  w.right_to = w.right_from + bin(flank);
  const double masked = spectra.masked[w.to] - spectra.masked[w.from];
  w.masked = 3.0 * masked > static_cast<double>(w.to - w.from);
  w.usable = w.right_to < bins && !w.masked;
  return w;
}

// Where the cage turns about half as fast as an element strikes, the side lines of one harmonic fall on those
// of the next: one line in the sound, which proves no more for being expected twice.
bool is_looked_at(const Window& w, std::span<const Window* const> before) {
  return std::any_of(before.begin(), before.end(), [&](const Window* b) {
    const std::size_t from = std::max(w.from, b->from), to = std::min(w.to, b->to);
    return to > from && 2 * (to - from) >= w.to - w.from;
  });
}

// Mean of the line's bins over the local background, and the degrees of freedom that mean rests on.
struct LineMean {
  double over_background, freedom;
};

// Neighbouring bins of a tapered spectrum are correlated: of many so many count as one, the mean of the
// window to the fourth over the squared mean of its square (Percival and Walden 1993; 1.94 for Hann's).
constexpr double bins_as_one =
    (1.0 - 93.0 / 128.0 * envelope_taper) / ((1.0 - 0.625 * envelope_taper) * (1.0 - 0.625 * envelope_taper));

double freedom_per_band(const Window& w) {
  const auto bins = static_cast<double>(w.to - w.from);
  const auto flanks = static_cast<double>(w.left_to - w.left_from + w.right_to - w.right_from);
  const double own = bins / (bins_as_one - (bins_as_one - 1.0) / bins), beside = flanks / bins_as_one;
  return own * beside / (own + beside);
}

// As the loops do it for many groups at once.
LineMean look(const GroupSpectrum& group, const Window& w) {
  const double left = group.mean(w.left_from, w.left_to), right = group.mean(w.right_from, w.right_to);
  const double local = std::max({0.5 * (left + right), 0.9 * std::max(left, right), 0.8});
  return {group.mean(w.from, w.to) / local,
          std::min<double>(most_freedom, group.independent_bands_at(w.from) * freedom_per_band(w))};
}

static_assert(strength_steps == 8);  // as the loops have it

// What each strength would do to the mean of a line, by the number of its bins; made when first needed.
class StrengthRows {
 public:
  const float* row(double power, std::size_t bins) {
    auto& rows = power < 1.0 ? side_ : main_;
    if (bins >= rows.size()) rows.resize(bins + 1);
    if (!rows[bins]) {
      rows[bins] = std::make_unique<Row>();
      for (std::size_t a = 0; a < strength_steps; ++a) {
        const double excess = std::exp2(octaves_of(a)) * power / static_cast<double>(bins);
        (*rows[bins])[a] = static_cast<float>(excess / (1.0 + excess));
        (*rows[bins])[strength_steps + a] = static_cast<float>(std::log1p(excess));
      }
    }
    return rows[bins]->data();
  }

 private:
  using Row = std::array<float, std::size_t{2} * strength_steps>;
  std::vector<std::unique_ptr<Row>> main_, side_;
};

// A window of this width about the order touches something already explained.
bool is_explained(double order, double width, std::span<const ExplainedOrders> explained) {
  const double low = order * (1.0 - 0.5 * width), high = order * (1.0 + 0.5 * width);
  return std::any_of(explained.begin(), explained.end(),
                     [&](const ExplainedOrders& e) { return high >= e.low && low <= e.high; });
}

// The heard groups of one window length, side by side.
struct Level {
  const GroupSums* sums;
  const SumsOfOtherMask* other_mask;
  std::vector<std::size_t> groups;        // among all, by lane
  std::vector<std::vector<float>> bands;  // independent bands [octave][lane]
  std::vector<GroupRun> runs;             // of the groups of several bands
  [[nodiscard]] std::size_t lanes() const { return (sums->groups().size() + 7) / 8 * 8; }
  [[nodiscard]] GroupPlan plan() const { return {sums->lanes(), lanes(), runs.data(), runs.size()}; }
};

// What a run is made of lies before all of it.
std::vector<GroupRun> runs_of(const GroupSums& sums) {
  std::vector<GroupRun> runs;
  const auto goes_on = [&](std::size_t low, std::size_t high) {
    if (runs.empty() || runs.back().step == 0) return false;
    GroupRun& last = runs.back();
    const std::size_t step = last.count > 1 ? last.step : low - last.low;
    if (step == 0 || low != last.low + last.count * step || high != last.high + last.count * step ||
        high >= last.to)
      return false;
    last.step = step;
    ++last.count;
    return true;
  };
  for (std::size_t g = sums.bands(); g < sums.groups().size(); ++g) {
    const GroupOfBands& group = sums.groups()[g];
    if (!group.halves)
      runs.push_back({g, 1, group.first, group.count, 0});
    else if (!goes_on(group.halves->first, group.halves->second))
      runs.push_back({g, 1, group.halves->first, group.halves->second, 1});
  }
  return runs;
}

std::vector<Level> levels_of(const EnvelopeSpectra& spectra) {
  std::vector<Level> levels;
  for (std::size_t g = 0; g < spectra.groups.size(); ++g) {
    const GroupSpectrum& group = spectra.groups[g];
    if (!group.sums) continue;
    if (levels.empty() || levels.back().sums != group.sums.get())
      levels.push_back({group.sums.get(), group.other_mask.get(), {}, {}, runs_of(*group.sums)});
    Level& level = levels.back();
    level.groups.push_back(g);
    if (level.bands.size() < group.effective_bands.size())
      level.bands.resize(group.effective_bands.size(), std::vector<float>(level.lanes(), 1.0f));
    for (std::size_t octave = 0; octave < group.effective_bands.size(); ++octave)
      level.bands[octave][group.lane] = static_cast<float>(group.effective_bands[octave]);
  }
  return levels;
}

// Rows that had to be worked out for one mask; each stays where it is when more come.
using MadeRows = std::vector<std::vector<int>>;

// The row from which that at `from` is taken away for the sums of bins from .. to - 1.
const int* row_to(const Level& level, std::size_t from, std::size_t to, MadeRows& made) {
  const int* row = level.sums->row(to);
  if (!level.other_mask) return row;
  const std::size_t before = level.other_mask->before(from), after = level.other_mask->before(to);
  if (before == after) return row;
  const int *more = level.other_mask->row(after), *less = level.other_mask->row(before);
  std::vector<int>& out = made.emplace_back(level.sums->lanes());
  for (std::size_t lane = 0; lane < out.size(); ++lane)
    out[lane] = static_cast<int>(static_cast<unsigned>(row[lane]) + static_cast<unsigned>(more[lane]) -
                                 static_cast<unsigned>(less[lane]));
  return out.data();
}

LineRows rows_of(const Window& w, const Level& level, MadeRows& made) {
  const GroupSums& sums = *level.sums;
  const auto share = [](std::size_t from, std::size_t to) {
    return static_cast<float>(1.0 / (GroupSums::unit * static_cast<double>(to - from)));
  };
  return {sums.row(w.from),
          row_to(level, w.from, w.to, made),
          sums.row(w.left_from),
          row_to(level, w.left_from, w.left_to, made),
          sums.row(w.right_from),
          row_to(level, w.right_from, w.right_to, made),
          share(w.from, w.to),
          share(w.left_from, w.left_to),
          share(w.right_from, w.right_to)};
}

LineLook look_at(const CombLine& line, const Window& w, const Level& level, StrengthRows& strengths,
                 const float* means) {
  return {means, static_cast<float>(freedom_per_band(w)), static_cast<float>(line.presence),
          level.bands[octave_of(w.from, level.bands.size())].data(),
          strengths.row(line.power, w.to - w.from)};
}

// A line of a comb and where it is looked for.
struct PlacedLine {
  const CombLine* line;
  Window window;
};

// A comb's lines at one slip and width, in spectra of up to so many bins; without those that are explained
// and those that lie where there is nothing to look at.
void place_lines(const std::vector<CombLine>& comb, double fundamental, double modulation, double width,
                 const EnvelopeSpectra& spectra, std::size_t bins, std::span<const ExplainedOrders> explained,
                 std::vector<PlacedLine>& placed) {
  placed.clear();
  for (const CombLine& line : comb) {
    const double order = line.harmonic * fundamental + line.side * modulation;
    if (is_explained(order, width, explained)) continue;
    const Window w = window_at(order, width, spectra, bins);
    if (w.usable || w.masked) placed.push_back({&line, w});
  }
}

// The same in one level, as the loops take them: those of a harmonic that has side lines in sets of their
// own, the main line first.
class PlacedComb {
 public:
  // Instead of what was placed before.
  void place(std::span<const PlacedLine> lines, bool flanked, const Level& level, StrengthRows& strengths);
  [[nodiscard]] CombLooks looks() const;
  [[nodiscard]] bool empty() const { return windows_.empty(); }

 private:
  struct Set {
    std::vector<LineLook> lines;
    std::size_t mains = 0;
    float sides_alone = 0.5f;  // nats
    void clear() {
      lines.clear();
      mains = 0;
      sides_alone = Set().sides_alone;
    }
  };
  Set& set_of(const CombLine& line, bool flanked);
  Set plain_;
  std::array<Set, most_flanked> flanked_;
  std::vector<const Window*> windows_;
  MadeRows made_;
  std::vector<LineRows> rows_;
  std::vector<float> means_, scratch_;
};

PlacedComb::Set& PlacedComb::set_of(const CombLine& line, bool flanked) {
  const auto harmonic = static_cast<std::size_t>(line.harmonic);
  const bool whole = static_cast<double>(harmonic) == line.harmonic;
  return flanked && whole && harmonic < most_flanked ? flanked_[harmonic] : plain_;
}

void PlacedComb::place(std::span<const PlacedLine> lines, bool flanked, const Level& level,
                       StrengthRows& strengths) {
  // Hidden by what a sound car does, a line may be as strong as can be; its sides then add as much.
  constexpr float beside_hidden = 28.0f;
  const std::size_t bins = level.sums->bins();
  plain_.clear();
  for (Set& set : flanked_) set.clear();
  windows_.clear();
  made_.clear();
  rows_.clear();
  const std::size_t lanes = level.lanes();
  means_.resize(std::max(means_.size(), lines.size() * lanes));
  for (const auto& [line, w] : lines) {
    if (w.reach >= static_cast<double>(bins)) continue;
    Set& set = set_of(*line, flanked);
    if (w.masked && is_main(*line)) set.sides_alone = beside_hidden;
    if (w.masked || w.right_to >= bins || is_looked_at(w, windows_)) continue;
    windows_.push_back(&w);
    set.lines.push_back(look_at(*line, w, level, strengths, &means_[rows_.size() * lanes]));
    rows_.push_back(rows_of(w, level, made_));
    if (is_main(*line)) ++set.mains;
  }
  scratch_.resize(std::max(scratch_.size(), 3 * lines_at_once * (lanes + beyond_groups)));
  comb_loops().line_means(rows_.data(), rows_.size(), level.plan(), scratch_.data(), means_.data());
}

CombLooks PlacedComb::looks() const {
  CombLooks looks{plain_.lines.data(), plain_.lines.size(), {}};
  for (std::size_t i = 0; i < most_flanked; ++i)
    looks.flanked[i] = {flanked_[i].lines.data(), flanked_[i].mains, flanked_[i].lines.size(),
                        flanked_[i].sides_alone};
  return looks;
}

// The log factor at a strength between the searched steps; below the weakest there is nothing to see.
BetweenStrengths at_strength(double step) {
  constexpr unsigned last = strength_steps - 1;
  if (step <= 0.0) return {0, static_cast<float>(std::max(0.0, 1.0 + step)), 0.0f};
  if (step >= last) return {last, 1.0f, 0.0f};
  const auto low = static_cast<unsigned>(step);
  const auto part = static_cast<float>(step - low);
  return {low, 1.0f - part, part};
}

// A run's level scatters about what visibility predicts: two and a half octaves down, as said, two up; or the
// run does not show the fault at all, whatever trade practice says of its load.
Scatter scatter_of(const EventEvidence& run) {
  constexpr std::array<double, scatter_terms> octaves = {-2.5, 0.0, 2.0};
  const double shift =
      std::log2(run.visibility * run.visibility * run.turns / usual_turns) / strength_step_octaves;
  Scatter scatter{0.1f, {0.25f, 0.4f, 0.25f}, {}};
  for (int a = 0; a < strength_steps; ++a)
    for (std::size_t t = 0; t < scatter_terms; ++t)
      scatter.at[a][t] = at_strength(a + shift + octaves[t] / strength_step_octaves);
  return scatter;
}

double strength_prior(std::size_t a) {
  static const double sum = [] {
    double s = 0.0;
    for (int i = 0; i < strength_steps; ++i) s += std::exp(-strength_prior_fall * i);
    return s;
  }();
  return std::exp(-strength_prior_fall * static_cast<double>(a)) / sum;
}

// The modulation that goes with a fundamental at this offset. A race's is its shaft's, which does not slip.
// An element's is the cage's: it lags as the spin does, and where the diameters are not known both follow
// from one gamma.
double modulation_at(const Family& family, double modulation, double offset) {
  if (family.fault != Fault::rolling_element) return modulation;
  if (family.knowledge == Knowledge::exact) return modulation * (1.0 + offset);
  const auto on_reference = [&](const Rate& rate) {
    return family.base.engine_bound() ? rate.engine : rate.wheel;
  };
  const double ring = on_reference(family.ring_rate), cage = on_reference(family.modulation);
  if (ring == 0.0 || cage == 0.0) return modulation;
  const auto gamma_of = [](double spin) { return 0.5 * (std::sqrt(spin * spin + 4.0) - spin); };
  const double spin = std::abs(on_reference(family.base) / ring);
  const double less = 0.5 * (gamma_of(spin * (1.0 + offset)) - gamma_of(spin));
  return modulation * std::abs(1.0 - less * ring / cage);
}

constexpr float not_seen = -50.0f;  // nats

// The part of a grid that is looked at: all, or the nearest to a slip and its neighbours. [first, last)
std::pair<std::size_t, std::size_t> slips_within(const std::vector<double>& grid,
                                                 std::optional<double> slip) {
  if (!slip) return {0, grid.size()};
  const auto above = std::lower_bound(grid.begin(), grid.end(), *slip);
  const auto at = static_cast<std::size_t>(above - grid.begin());
  return {at > 1 ? at - 1 : 0, std::min(grid.size(), at + 2)};
}

}  // namespace

std::vector<MainLine> main_lines(const Family& family) {
  std::vector<MainLine> lines;
  for (const CombLine& line : comb_of(family, false))
    if (line.side == 0 && line.harmonic > 0.0) lines.push_back({line.harmonic, line.presence});
  return lines;
}

std::vector<double> slip_grid(const Family& family) {
  if (family.fault == Fault::chipped_tooth && family.slip_high - family.slip_low < 0.002) return {0.0};
  const double step = family.knowledge == Knowledge::exact ? 0.0016 : 0.004;
  const double first = family.geometry_low * (1.0 + family.slip_low),
               last = family.geometry_high * (1.0 + family.slip_high);
  std::vector<double> slips;
  for (double factor = first; factor <= last * (1.0 + 1e-9); factor *= 1.0 + step)
    slips.push_back(factor - 1.0);
  return slips;
}

std::vector<float> how_usual(const Family& family, const std::vector<double>& slips) {
  constexpr double at_the_end = 0.05;  // half a step reaches in
  std::vector<float> usual(slips.size(), 0.0f);
  if (family.knowledge != Knowledge::exact || family.slip_fade <= 0.0) return usual;
  const auto chance = [&](double slip) {
    const double from_end = std::min(slip - family.slip_low, family.slip_high - slip);
    return std::clamp(from_end / family.slip_fade, at_the_end, 1.0);
  };
  double sum = 0.0;
  for (const double slip : slips) sum += chance(slip);
  for (std::size_t s = 0; s < slips.size(); ++s)
    usual[s] = static_cast<float>(std::log(chance(slips[s]) * static_cast<double>(slips.size()) / sum));
  return usual;
}

EventEvidence event_evidence(const EnvelopeSpectra& spectra, const Family& family, double fundamental,
                             double modulation, const CombLimits& limits) {
  EventEvidence out;
  out.groups = spectra.groups.size();
  const std::vector<double> grid = slip_grid(family);
  const auto [first, last] = slips_within(grid, limits.slip);
  const std::size_t looked_at = last - first;
  out.slip.assign(grid.begin() + static_cast<std::ptrdiff_t>(first),
                  grid.begin() + static_cast<std::ptrdiff_t>(last));
  out.elsewhere = grid.size() - looked_at;
  if (out.elsewhere > 0) out.slip.push_back(first > 0 ? grid.front() : grid.back());
  out.slips = out.slip.size();
  const std::vector<float> usual = how_usual(family, grid);
  out.usual.assign(usual.begin() + static_cast<std::ptrdiff_t>(first),
                   usual.begin() + static_cast<std::ptrdiff_t>(last));
  out.usual.resize(out.slips, 0.0f);
  out.strengths = strength_steps;
  out.turns = spectra.turns;
  // combine() reads whole eights of cells.
  out.log_factor.assign((out.groups * out.slips + 7) / 8 * 8 * out.strengths, 0.0f);
  const std::vector<CombLine> comb = comb_of(family, modulation != 0.0);
  const auto& smear = smear_of(family.fault);
  for (std::size_t g = 0; g < out.groups && out.elsewhere > 0; ++g)
    if (spectra.groups[g].bins() > 0) std::fill_n(&out.at(g, looked_at, 0), out.strengths, not_seen);
  static thread_local StrengthRows strengths;  // the same for every comb
  const std::vector<Level> levels = levels_of(spectra);
  std::size_t bins = 0;
  for (const Level& level : levels) bins = std::max(bins, level.sums->bins());
  std::vector<float> factors;
  std::array<std::vector<PlacedLine>, 3> lines;  // by width
  std::array<PlacedComb, 3> placed;
  for (std::size_t s = 0; s < looked_at; ++s) {
    const double own = fundamental * (1.0 + out.slip[s]);
    const double beside = modulation_at(family, modulation, out.slip[s]);
    for (std::size_t w = 0; w < smear.size(); ++w)
      place_lines(comb, own, beside, smear[w], spectra, bins, limits.explained, lines[w]);
    for (const Level& level : levels) {
      const std::size_t lanes = level.lanes();
      std::array<CombLooks, 3> looks{};
      for (std::size_t w = 0; w < smear.size(); ++w) {
        placed[w].place(lines[w], beside != 0.0, level, strengths);
        looks[w] = placed[w].looks();
        out.heard_at_all = out.heard_at_all || !placed[w].empty();
      }
      factors.resize(out.strengths * lanes);
      comb_loops().comb_factors(looks.data(), looks.size(), lanes, most_freedom, line_cap(family.fault),
                                factors.data());
      for (std::size_t lane = 0; lane < level.groups.size(); ++lane)
        for (std::size_t a = 0; a < out.strengths; ++a)
          out.at(level.groups[lane], s, a) = factors[a * lanes + lane];
    }
  }
  return out;
}

std::vector<ExplainedOrders> explained_by(const Family& family, double fundamental, double modulation,
                                          double slip) {
  // An element's lines stand so thick that all of them together would explain anything. A knock once per turn
  // sounds at every multiple of its shaft's turns and, held to the shaft, just there.
  // A loud machine's turns sound as far up, and slip no more than was found.
  const bool element = family.fault == Fault::rolling_element, knock = family.fault == Fault::chipped_tooth;
  const bool machine = family.fault == Fault::out_of_balance || family.fault == Fault::worn_machine;
  const int harmonics = element ? 4 : knock ? 60 : machine ? 24 : 12, sides = element ? 1 : 3;
  const double half_width = family.fault == Fault::dry_joint ? 0.010
                            : element || machine             ? 0.004
                            : knock                          ? 0.002
                                                             : 0.006;
  const double step = family.fault == Fault::rolling_element ? 0.5 : 1.0;
  // As the loaded zone lets a race's or an element's strikes swell, the turns themselves show.
  const int turns = modulation == 0.0 || family.fault == Fault::dry_joint ? 0 : element ? 8 : 4;
  std::vector<ExplainedOrders> explained;
  const auto add = [&](double order) {
    explained.push_back({order * (1.0 - half_width), order * (1.0 + half_width)});
  };
  for (int turn = 1; turn <= turns; ++turn) add(turn * modulation_at(family, modulation, slip));
  for (double h = step; h <= harmonics; h += step)
    for (int side = modulation != 0.0 ? -sides : 0; side <= (modulation != 0.0 ? sides : 0); ++side) {
      add(h * fundamental * (1.0 + slip) + side * modulation_at(family, modulation, slip));
    }
  return explained;
}

std::vector<CombSeen> comb_seen(const EnvelopeSpectra& spectra, const Family& family, double fundamental,
                                double modulation, double slip, std::size_t group) {
  std::vector<CombSeen> seen;
  if (group >= spectra.groups.size() || !spectra.groups[group].sums) return seen;
  const GroupSpectrum& spectrum = spectra.groups[group];
  const auto& smear = smear_of(family.fault);
  const std::vector<CombLine> comb = comb_of(family, modulation != 0.0);
  std::vector<Window> windows;
  windows.reserve(comb.size());
  std::vector<const Window*> before;
  for (const CombLine& line : comb) {
    CombSeen best{
        line.harmonic,
        line.side,
        line.harmonic * fundamental * (1.0 + slip) + line.side * modulation_at(family, modulation, slip),
        {},
        2.0};
    const Window narrow = window_at(best.order, smear.front(), spectra, spectrum.bins());
    if (narrow.usable && is_looked_at(narrow, before)) continue;
    before.push_back(&windows.emplace_back(narrow));
    for (const double width : smear) {
      const Window w = window_at(best.order, width, spectra, spectrum.bins());
      if (!w.usable) continue;
      const LineMean mean = look(spectrum, w);
      const double chance = gamma_upper_tail(mean.freedom, mean.freedom * mean.over_background);
      if (chance >= best.chance) continue;
      best.chance = chance;
      best.above_background = Decibels::of_power_ratio(mean.over_background);
    }
    if (best.chance > 1.0) continue;
    best.chance = std::min(1.0, best.chance * static_cast<double>(smear.size()));
    seen.push_back(best);
  }
  return seen;
}

CombinedEvents combine(const std::vector<EventEvidence>& runs) {
  CombinedEvents best;
  std::vector<const EventEvidence*> heard;
  for (const EventEvidence& run : runs)
    if (run.heard_at_all && run.visibility > 0.0) heard.push_back(&run);
  if (heard.empty()) return best;
  const EventEvidence& first = *heard.front();
  const std::size_t cells = first.groups * first.slips, whole = (cells + 7) / 8 * 8;
  std::vector<float> sums(whole * strength_steps, 0.0f), total(whole), largest(whole);
  for (const EventEvidence* run : heard)
    comb_loops().add_scattered(run->log_factor.data(), whole, scatter_of(*run), sums.data());
  std::array<float, strength_steps> prior{};
  for (std::size_t a = 0; a < prior.size(); ++a) prior[a] = static_cast<float>(strength_prior(a));
  constexpr float most = 600.0f;
  comb_loops().over_strengths(sums.data(), whole, prior.data(), most, total.data(), largest.data());

  const auto cell = static_cast<std::size_t>(
      std::max_element(largest.begin(), largest.begin() + static_cast<std::ptrdiff_t>(cells)) -
      largest.begin());
  best.best_group = cell / first.slips;
  best.best_slip = first.slip[cell % first.slips];
  for (std::size_t a = 0; a < prior.size(); ++a)
    if (sums[(cell / 8 * prior.size() + a) * 8 + cell % 8] == largest[cell])
      best.best_strength = octaves_of(a);

  for (std::size_t c = 0; c < cells; ++c) total[c] += first.usual[c % first.slips];
  std::fill(total.begin() + static_cast<std::ptrdiff_t>(cells), total.end(), -1e9f);
  const float top = *std::max_element(total.begin(), total.end());
  double sum = 0.0;
  for (std::size_t from = 0; from < whole; from += 1024)  // in double: floats do not add up over so many
    sum += static_cast<double>(
        comb_loops().sum_of_exp(total.data() + from, std::min<std::size_t>(1024, whole - from), top));
  const std::size_t unseen = first.elsewhere > 0 ? first.elsewhere - 1 : 0;  // besides the one held
  for (std::size_t group = 0; group < first.groups && unseen > 0; ++group)
    sum += static_cast<double>(unseen) *
           std::exp(static_cast<double>(total[(group + 1) * first.slips - 1] - top));
  best.log_bayes_factor =
      static_cast<double>(top) + std::log(sum / static_cast<double>(cells + unseen * first.groups));
  return best;
}

}  // namespace gearhark
