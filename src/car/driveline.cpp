#include "gearhark/car/driveline.hpp"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <deque>
#include <set>
#include <string>
#include <vector>

#include "relations.hpp"

namespace gearhark {
namespace {

using Eigen::MatrixXd;
using Eigen::RowVectorXd;
using Eigen::VectorXd;

constexpr double rank_threshold = 1e-10;   // of rows of unit length; the largest teeth count is 1e5
constexpr double locked_threshold = 1e-7;  // a shaft's share in the free motions

int index_of(const Car& car, std::string_view shaft) {
  for (std::size_t i = 0; i < car.shafts.size(); ++i)
    if (car.shafts[i].id == shaft) return static_cast<int>(i);
  return -1;
}

bool active(const Coupling& coupling, const DriveState& state) {
  if (coupling.engine_clutch && state.clutch == Clutch::pedal_down) return false;
  return coupling.only_in.empty() ||
         std::find(coupling.only_in.begin(), coupling.only_in.end(), state.gear) != coupling.only_in.end();
}

// Terms of shafts that are held still ("") drop out.
Relation relation(const Car& car, std::string id,
                  std::initializer_list<std::pair<std::string_view, double>> terms) {
  Relation out{std::move(id), {}, false};
  for (const auto& [shaft, factor] : terms) {
    const int i = index_of(car, shaft);
    if (i >= 0 && factor != 0.0) out.terms.emplace_back(i, factor);
    out.hold = out.hold || shaft.empty();
  }
  return out;
}

double factor_of(const RatioFactors& factors, std::string_view id) {
  const auto at = factors.find(id);
  return at == factors.end() ? 1.0 : at->second;
}

RowVectorXd row_of(const Relation& relation, Eigen::Index shafts) {
  RowVectorXd row = RowVectorXd::Zero(shafts);
  for (const auto& [shaft, factor] : relation.terms) row(shaft) += factor;
  const double length = row.norm();
  return length > 0.0 ? RowVectorXd(row / length) : row;
}

MatrixXd matrix_of(const std::vector<Relation>& relations, std::size_t shafts) {
  MatrixXd m(static_cast<Eigen::Index>(relations.size()), static_cast<Eigen::Index>(shafts));
  for (std::size_t i = 0; i < relations.size(); ++i)
    m.row(static_cast<Eigen::Index>(i)) = row_of(relations[i], m.cols());
  return m;
}

Eigen::Index rank_of(const MatrixXd& m) {
  if (m.rows() == 0 || m.cols() == 0) return 0;
  Eigen::FullPivLU<MatrixXd> lu(m);
  lu.setThreshold(rank_threshold);
  return lu.rank();
}

// An orthonormal basis of the motions that the relations leave free, one per column (none: no column).
MatrixXd free_motions(const MatrixXd& relations, Eigen::Index shafts) {
  if (relations.rows() == 0) return MatrixXd::Identity(shafts, shafts);
  Eigen::ColPivHouseholderQR<MatrixXd> qr(relations.transpose());
  qr.setThreshold(rank_threshold);
  const MatrixXd q = qr.householderQ() * MatrixXd::Identity(shafts, shafts);
  return q.rightCols(shafts - qr.rank());
}

bool locked(const MatrixXd& motions, int shaft) {
  return motions.cols() == 0 || motions.row(shaft).norm() < locked_threshold;
}

std::vector<int> wheel_indices(const Car& car) {
  std::vector<int> out;
  for (const auto& wheel : car.driven_wheels)
    if (const int i = index_of(car, wheel); i >= 0) out.push_back(i);
  return out;
}

struct Axle {
  std::string_view left, right;
};
constexpr std::array axles{Axle{"wheel_fl", "wheel_fr"}, Axle{"wheel_rl", "wheel_rr"}};

// The road's part: how the wheels move as a mixture of the references (columns wheel, engine, bend). In this
// order: a row counts only where the driveline leaves it open, so the engine is a reference of its own only
// when it is loose.
struct References {
  MatrixXd rows, values;
};

void add(References& refs, const RowVectorXd& row, const Rate& value) {
  const Eigen::Index n = refs.rows.rows();
  refs.rows.conservativeResize(n + 1, row.size());
  refs.values.conservativeResize(n + 1, 3);
  refs.rows.row(n) = row;
  refs.values.row(n) << value.wheel, value.engine, value.bend;
}

RowVectorXd mean_row(const std::vector<int>& shafts, Eigen::Index n) {
  RowVectorXd row = RowVectorXd::Zero(n);
  for (const int i : shafts) row(i) += 1.0 / static_cast<double>(shafts.size());
  return row;
}

References references_of(const Car& car, Eigen::Index n) {
  References refs{MatrixXd(0, n), MatrixXd(0, 3)};
  add(refs, mean_row(wheel_indices(car), n), {1.0, 0.0, 0.0});
  for (const auto& axle : axles) {
    const int left = index_of(car, axle.left), right = index_of(car, axle.right);
    if (left < 0 || right < 0) continue;
    add(refs, mean_row({left, right}, n), {1.0, 0.0, 0.0});
    RowVectorXd half_difference = RowVectorXd::Zero(n);
    half_difference(left) = -0.5;
    half_difference(right) = 0.5;
    add(refs, half_difference, {0.0, 0.0, 1.0});
  }
  if (const int engine = index_of(car, "engine"); engine >= 0)
    add(refs, mean_row({engine}, n), {0.0, 1.0, 0.0});
  return refs;
}

struct System {
  MatrixXd rows, values;
  MatrixXd motions;  // left free
};

System with_open_references(const MatrixXd& driveline, const References& refs) {
  System system{driveline, MatrixXd::Zero(driveline.rows(), 3), free_motions(driveline, driveline.cols())};
  for (Eigen::Index i = 0; i < refs.rows.rows(); ++i) {
    const RowVectorXd in_motions = refs.rows.row(i) * system.motions;
    if (in_motions.size() == 0 || in_motions.norm() < rank_threshold) continue;
    const Eigen::Index n = system.rows.rows();
    system.rows.conservativeResize(n + 1, driveline.cols());
    system.rows.row(n) = refs.rows.row(i);
    system.values.conservativeResize(n + 1, 3);
    system.values.row(n) = refs.values.row(i);
    system.motions *= free_motions(in_motions, in_motions.size());
  }
  return system;
}

// Without the last digits, which are rounding noise: shafts that turn as one then have equal rates.
double cleaned(double value) { return std::round(value * 1e12) / 1e12 + 0.0; }

ShaftRates solved(const Car& car, const std::vector<Relation>& relations) {
  const auto n = static_cast<Eigen::Index>(car.shafts.size());
  const System system = with_open_references(matrix_of(relations, car.shafts.size()), references_of(car, n));
  const MatrixXd rates = system.rows.completeOrthogonalDecomposition().solve(system.values);
  ShaftRates out;
  for (Eigen::Index i = 0; i < n; ++i)
    if (locked(system.motions, static_cast<int>(i)))
      out[car.shafts[static_cast<std::size_t>(i)].id] = {cleaned(rates(i, 0)), cleaned(rates(i, 1)),
                                                         cleaned(rates(i, 2))};
  return out;
}

std::string gear_list(const Car& car) {
  std::string out;
  for (std::size_t i = 0; i < car.gears.size(); ++i)
    out += (i == 0 ? "" : i + 1 == car.gears.size() ? " and " : ", ") + car.gears[i].label;
  return out;
}

bool has_gear(const Car& car, const Gear& gear) {
  return std::find(car.gears.begin(), car.gears.end(), gear) != car.gears.end();
}

Error no_such_gear(const Car& car, const Gear& gear) {
  return {fmt::format("the car has no gear \"{}\"; its gears are {}", gear.label, gear_list(car))};
}

// ---- conflicts ----

std::vector<Relation> without_holds(const std::vector<Relation>& relations) {
  std::vector<Relation> out;
  for (const auto& r : relations)
    if (!r.hold) out.push_back(r);
  return out;
}

// Which of the shafts asked about have come to a standstill under the first `count` relations.
bool any_locked(const std::vector<Relation>& relations, std::size_t count, const std::vector<int>& asked,
                std::size_t shafts) {
  const std::vector<Relation> first(relations.begin(),
                                    relations.begin() + static_cast<std::ptrdiff_t>(count));
  const MatrixXd motions = free_motions(matrix_of(first, shafts), static_cast<Eigen::Index>(shafts));
  return std::any_of(asked.begin(), asked.end(), [&](int i) { return locked(motions, i); });
}

bool shares_shaft(const Relation& a, int shaft) {
  return std::any_of(a.terms.begin(), a.terms.end(), [&](const auto& term) { return term.first == shaft; });
}

// Shortest way from the first to the last shaft of the closing relation along the relations before it.
std::vector<int> loop_through(const std::vector<Relation>& relations, std::size_t closing,
                              std::size_t shafts) {
  if (relations[closing].terms.empty()) return {};
  const int start = relations[closing].terms.front().first, goal = relations[closing].terms.back().first;
  std::vector<int> from(shafts, -1);
  std::deque<int> queue{start};
  while (!queue.empty() && start != goal) {
    const int at = queue.front();
    queue.pop_front();
    for (std::size_t r = 0; r < closing; ++r) {
      if (!shares_shaft(relations[r], at)) continue;
      for (const auto& [next, factor] : relations[r].terms) {
        if (next == start || from[static_cast<std::size_t>(next)] >= 0) continue;
        from[static_cast<std::size_t>(next)] = at;
        queue.push_back(next);
      }
    }
  }
  std::vector<int> path;
  for (int at = goal; at >= 0; at = at == start ? -1 : from[static_cast<std::size_t>(at)]) path.push_back(at);
  std::reverse(path.begin(), path.end());
  return path;
}

std::optional<Conflict> first_lock(const Car& car, const std::vector<Relation>& relations,
                                   const std::vector<int>& asked) {
  const std::size_t n = car.shafts.size();
  if (!any_locked(relations, relations.size(), asked, n)) return std::nullopt;
  std::size_t count = 1;
  while (!any_locked(relations, count, asked, n)) ++count;
  Conflict conflict{relations[count - 1].id, {}};
  for (const int i : loop_through(relations, count - 1, n))
    conflict.shafts.push_back(car.shafts[static_cast<std::size_t>(i)].id);
  return conflict;
}

// ---- load ----

// Whether the motion of `target` follows from that of `sources`, given the free motions of the driveline.
bool follows(const MatrixXd& motions, const RowVectorXd& target, const std::vector<int>& sources) {
  MatrixXd known(static_cast<Eigen::Index>(sources.size()), motions.cols());
  for (std::size_t i = 0; i < sources.size(); ++i)
    known.row(static_cast<Eigen::Index>(i)) = motions.row(sources[i]);
  MatrixXd longer(known.rows() + 1, known.cols());
  longer << known, target * motions;
  return rank_of(longer) == rank_of(known);
}

// How many ways engine and road hold each other: the engine by all driven wheels together, each axle by the
// engine.
int ties(const Car& car, const std::vector<Relation>& relations) {
  const auto n = static_cast<Eigen::Index>(car.shafts.size());
  const int engine = index_of(car, "engine");
  const auto wheels = wheel_indices(car);
  if (engine < 0 || wheels.empty()) return 0;
  const MatrixXd motions = free_motions(matrix_of(relations, car.shafts.size()), n);
  int count = follows(motions, mean_row({engine}, n), wheels) ? 1 : 0;
  for (const auto& axle : axles) {
    const int left = index_of(car, axle.left), right = index_of(car, axle.right);
    if (std::find(wheels.begin(), wheels.end(), left) != wheels.end())
      count += follows(motions, mean_row({left, right}, n), {engine}) ? 1 : 0;
  }
  return count;
}

std::vector<Relation> without(const std::vector<Relation>& relations, std::string_view id) {
  std::vector<Relation> out;
  for (const auto& r : relations)
    if (r.id != id) out.push_back(r);
  return out;
}

double size_of(const Rate& rate) { return std::max(std::abs(rate.wheel), std::abs(rate.engine)); }

// 0 for a shaft that stands still.
double relative_change(const ShaftRates& shifted, const std::string& shaft, const Rate& nominal) {
  const auto at = shifted.find(shaft);
  if (size_of(nominal) == 0.0 || at == shifted.end()) return 0.0;
  return cleaned(size_of(at->second) / size_of(nominal) - 1.0);
}

struct Uncertain {
  std::string id;
  double low, high;  // factors on the driven shaft's rate
};

std::vector<Uncertain> uncertain_ratios(const Car& car) {
  std::vector<Uncertain> out;
  for (const auto& pair : car.pairs)
    if (pair.relative_tolerance > 0.0)
      out.push_back({pair.id, 1.0 - pair.relative_tolerance, 1.0 + pair.relative_tolerance});
  for (const auto& belt : car.belts)
    if (belt.creep_high > 0.0) out.push_back({belt.id, 1.0 - belt.creep_high, 1.0 - belt.creep_low});
  return out;
}

}  // namespace

Hertz Rate::at(ShaftRate wheel_rate, ShaftRate engine_rate, ShaftRate bend_rate) const {
  return Hertz(
      std::abs(wheel * wheel_rate.value() + engine * engine_rate.value() + bend * bend_rate.value()));
}
bool Rate::road_bound() const { return wheel != 0.0 && engine == 0.0; }
bool Rate::engine_bound() const { return engine != 0.0 && wheel == 0.0; }

std::string coupling_id(const Coupling& coupling) {
  return coupling.b.empty() ? coupling.a + " held still" : coupling.a + " to " + coupling.b;
}

// Gear pairs last: of a loop that contradicts itself the last tie is named, and that is the one most often
// miscounted.
std::vector<Relation> relations_of(const Car& car, const DriveState& state, const RatioFactors& factors) {
  std::vector<Relation> out;
  for (const auto& c : car.couplings)
    if (active(c, state)) out.push_back(relation(car, coupling_id(c), {{c.a, 1.0}, {c.b, -1.0}}));
  for (const auto& e : car.epicyclics)
    out.push_back(
        relation(car, e.id,
                 {{e.sun, e.sun_teeth}, {e.ring, e.ring_teeth}, {e.carrier, -(e.sun_teeth + e.ring_teeth)}}));
  for (const auto& b : car.belts)
    out.push_back(relation(car, b.id, {{b.driving, -b.ratio * factor_of(factors, b.id)}, {b.driven, 1.0}}));
  for (const auto& d : car.differentials)
    out.push_back(relation(car, d.id, {{d.carrier, 1.0}, {d.left, -0.5}, {d.right, -0.5}}));
  for (const auto& p : car.pairs)
    if (p.meshes_in(state.gear))
      out.push_back(relation(car, p.id,
                             {{p.driving, p.driving_teeth * factor_of(factors, p.id)},
                              {p.driven, p.internal ? -p.driven_teeth : p.driven_teeth}}));
  return out;
}

std::optional<Conflict> find_conflict(const Car& car, const DriveState& state) {
  const auto relations = relations_of(car, state);
  std::vector<int> all;
  for (std::size_t i = 0; i < car.shafts.size(); ++i) all.push_back(static_cast<int>(i));
  if (auto loop = first_lock(car, without_holds(relations), all)) return loop;
  std::vector<int> must_turn = wheel_indices(car);
  if (const int engine = index_of(car, "engine"); engine >= 0) must_turn.push_back(engine);
  return first_lock(car, relations, must_turn);
}

std::string to_text(const Conflict& conflict, const DriveState& state) {
  return fmt::format(
      "in gear {} the shafts {} form a loop whose ratios contradict each other, so that nothing could turn; "
      "the tie that closes it is \"{}\": check its teeth, its shafts and the gears that engage it",
      state.gear.label, fmt::join(conflict.shafts, " - "), conflict.relation);
}

Result<ShaftRates> shaft_rates(const Car& car, const DriveState& state) {
  if (!has_gear(car, state.gear)) return no_such_gear(car, state.gear);
  if (const auto conflict = find_conflict(car, state)) return Error{to_text(*conflict, state)};
  return solved(car, relations_of(car, state));
}

ShaftSpreads shaft_spreads(const Car& car, const DriveState& state) {
  const ShaftRates nominal = solved(car, relations_of(car, state));
  ShaftSpreads out;
  for (const auto& [shaft, rate] : nominal) out[shaft] = {};
  for (const auto& ratio : uncertain_ratios(car)) {
    const ShaftRates low = solved(car, relations_of(car, state, {{ratio.id, ratio.low}}));
    const ShaftRates high = solved(car, relations_of(car, state, {{ratio.id, ratio.high}}));
    for (const auto& [shaft, rate] : nominal) {
      const auto [least, most] =
          std::minmax({relative_change(low, shaft, rate), relative_change(high, shaft, rate)});
      out[shaft].low += least;
      out[shaft].high += most;
    }
  }
  return out;
}

std::set<std::string, std::less<>> loaded_gears(const Car& car, const DriveState& state) {
  std::set<std::string, std::less<>> out;
  if (state.gear.neutral() || state.clutch == Clutch::pedal_down) return out;
  const auto relations = relations_of(car, state);
  const int all_ties = ties(car, relations);
  if (all_ties == 0) return out;
  const auto try_without = [&](const std::string& id) {
    if (ties(car, without(relations, id)) < all_ties) out.insert(id);
  };
  for (const auto& pair : car.pairs) try_without(pair.id);
  for (const auto& set : car.epicyclics) try_without(set.id);
  return out;
}

Result<double> overall_ratio(const Car& car, const Gear& gear) {
  const auto rates = shaft_rates(car, {gear, Clutch::engaged});
  if (!rates) return rates.error();
  const auto engine = rates->find("engine");
  if (engine == rates->end() || !engine->second.road_bound())
    return Error{fmt::format("in gear {} the engine is not tied to the wheels, so there is no overall ratio",
                             gear.label)};
  return std::abs(engine->second.wheel);
}

}  // namespace gearhark
