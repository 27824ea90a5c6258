#include "gearhark/diagnosis/ranking.hpp"

#include <algorithm>
#include <cmath>
#include <map>

namespace gearhark {
namespace {

// logit = base + slope x what was heard, against "no fault" at 0. Set by hand on simulated road tests
// (DEVELOPERS.md, "How the probabilities were fitted").
struct Weights {
  double base, slope;
  double usual;  // the most that healthy cars of the calibration show: slope counts from here
};
constexpr Weights bearing_weights{-2.6, 0.30, 0.0};
constexpr Weights wheel_or_carrier_weights{-3.0, 0.30, 0.0};
constexpr Weights machine_weights{-2.4, 0.30, 0.0};
// A cage seldom fails alone, and loose or slack things flutter at its rate too (on open bearing records with
// a damaged ball a cage was named wrongly).
constexpr Weights cage_weights{-4.5, 0.18, 0.0};
constexpr Weights chipped_weights{-3.0, 0.40, 0.0};
constexpr Weights dry_joint_weights{-4.3, 0.35, 0.0};
constexpr Weights gear_weights{-3.0, 0.60, 11.0};  // per dB of paired sidebands
constexpr Weights tyre_weights{-3.0, 8.0, 0.65};   // per unit of TyreEvidence::excess
constexpr Weights worn_joint_weights{-3.5, 0.25, 10.0};
constexpr Weights unlisted_weights{-4.0, 0.30, 0.0};
constexpr double weak_knowledge =
    -0.5;  // a bearing of which little is known is searched more widely, and believed less

const Weights& weights_of(const Candidate& candidate, const Car& car) {
  switch (candidate.kind) {
    case EvidenceKind::mesh_sidebands:
      return gear_weights;
    case EvidenceKind::tyre_orders:
      return tyre_weights;
    case EvidenceKind::joint_orders:
      return worn_joint_weights;
    case EvidenceKind::events:
      break;
  }
  if (candidate.fault == Fault::cage) return cage_weights;
  if (candidate.fault == Fault::chipped_tooth) return chipped_weights;
  if (candidate.fault == Fault::dry_joint) return dry_joint_weights;
  const Part* part = car.part(candidate.part);
  if (part && (part->role == PartRole::wheel_bearing || part->role == PartRole::carrier_bearing))
    return wheel_or_carrier_weights;
  if (part && part->role == PartRole::machine_bearing) return machine_weights;
  return bearing_weights;
}

double heard(const Candidate& candidate) {
  return candidate.kind == EvidenceKind::events ? candidate.log_factor : candidate.level;
}

double log_sum_exp(const std::vector<double>& values) {
  const double top = *std::max_element(values.begin(), values.end());
  double sum = 0.0;
  for (const double v : values) sum += std::exp(v - top);
  return top + std::log(sum);
}

bool same_lines(const Candidate& a, const Candidate& b) {
  if (a.fault != b.fault || a.kind != b.kind) return false;
  for (std::size_t r = 0; r < a.fundamental.size(); ++r) {
    if (std::abs(a.fundamental[r] - b.fundamental[r]) > 1e-3 * std::max(a.fundamental[r], 1e-6)) return false;
    if (std::abs(a.visibility[r] - b.visibility[r]) > 0.05) return false;
  }
  return true;
}

// Parts whose strongest faults make the same lines share one place in the ranking.
void merge_inseparable(std::vector<RankedPart>& parts, const std::vector<Candidate>& candidates) {
  std::vector<RankedPart> merged;
  for (RankedPart& part : parts) {
    const auto twin = std::find_if(merged.begin(), merged.end(), [&](const RankedPart& other) {
      return same_lines(candidates[part.best], candidates[other.best]);
    });
    if (twin == merged.end())
      merged.push_back(std::move(part));
    else
      twin->cannot_be_told_from.push_back(part.part);
  }
  parts = std::move(merged);
}

double logit_of_unlisted(const std::vector<Candidate>& candidates) {
  const auto unlisted =
      std::find_if(candidates.begin(), candidates.end(), [](const Candidate& c) { return c.unlisted(); });
  return unlisted_weights.base +
         unlisted_weights.slope * (unlisted == candidates.end() ? 0.0 : unlisted->log_factor);
}

}  // namespace

Ranking rank(const Car& car, const std::vector<Candidate>& candidates) {
  std::map<std::string, RankedPart> by_part;
  std::vector<std::string> in_order;
  for (std::size_t i = 0; i < candidates.size(); ++i) {
    const Candidate& c = candidates[i];
    if (!c.turned || c.healthy || c.unlisted()) continue;
    const Weights& w = weights_of(c, car);
    const double base = w.base + (c.knowledge == Knowledge::exact ? 0.0 : weak_knowledge);
    const double logit = base + w.slope * (heard(c) - w.usual);
    const auto [at, fresh] = by_part.try_emplace(c.part);
    if (fresh) in_order.push_back(c.part);
    if (fresh || logit > at->second.logit) at->second = {c.part, {}, i, logit, logit - base, {}};
  }
  Ranking ranking;
  for (const std::string& part : in_order) ranking.parts.push_back(by_part[part]);
  std::stable_sort(ranking.parts.begin(), ranking.parts.end(),
                   [](const auto& a, const auto& b) { return a.logit > b.logit; });
  merge_inseparable(ranking.parts, candidates);

  const double unexplained_logit = logit_of_unlisted(candidates);
  std::vector<double> logits{0.0, unexplained_logit};
  for (const RankedPart& part : ranking.parts) logits.push_back(part.logit);
  const double all = log_sum_exp(logits);
  ranking.no_fault = Probability(std::exp(-all));
  ranking.unexplained = Probability(std::exp(unexplained_logit - all));
  for (RankedPart& part : ranking.parts) part.probability = Probability(std::exp(part.logit - all));
  return ranking;
}

}  // namespace gearhark
