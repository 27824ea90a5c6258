#include "gearhark/diagnosis/ranking.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "weights.hpp"

namespace gearhark {
namespace {

using namespace ranking;

// Below these nothing is heard: what healthy cars show, too (seen on simulated road tests).
constexpr double usual_sidebands_db = 8.0, usual_joint_db = 10.0;

// Logit of a fault of which nothing is heard against "no fault" at 0.
double unheard_logit(const WeightsRow& row, Knowledge knowledge) {
  return row.base + weakly_known_logit * static_cast<double>(knowledge);
}

// What was heard of it adds this. The first nats of events count in full, as Bayes' rule asks; those beyond,
// where model error rules, for less, and for less again.
double worth(const WeightsRow& row, const Candidate& candidate, double nats) {
  if (candidate.kind != EvidenceKind::events) return row.slope * nats;
  const double full = in_full_of(candidate.fault);
  return std::min(nats, full) + row.slope * (std::clamp(nats - full, 0.0, sure - full) +
                                             believed_beyond * std::max(0.0, nats - sure));
}

// How much must be heard of it to add `logit`.
double heard_to_add(const WeightsRow& row, const Candidate& candidate, double logit) {
  if (candidate.kind != EvidenceKind::events) return logit / row.slope;
  const double full = in_full_of(candidate.fault);
  if (logit <= full) return logit;
  const double nats = full + (logit - full) / row.slope;
  return nats <= sure ? nats : sure + (nats - sure) / believed_beyond;
}

double logit(const WeightsRow& row, const Candidate& candidate, Knowledge knowledge) {
  // What tells two suspects for the same lines apart counts for itself, however much is heard of both.
  return unheard_logit(row, knowledge) +
         worth(row, candidate, heard(candidate) - candidate.against + candidate.behind) -
         second_best * candidate.behind + absence * candidate.against;
}

const WeightsRow& row_of(EvidenceClass kind) { return weights[static_cast<std::size_t>(kind)]; }

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

}  // namespace

EvidenceClass evidence_class(const Candidate& candidate, const Car& car) {
  if (candidate.unlisted()) return EvidenceClass::unlisted;
  switch (candidate.kind) {
    case EvidenceKind::mesh_sidebands:
      return EvidenceClass::worn_teeth;
    case EvidenceKind::tyre_orders:
      return EvidenceClass::tyre;
    case EvidenceKind::joint_orders:
      return EvidenceClass::worn_joint;
    case EvidenceKind::events:
      break;
  }
  if (candidate.fault == Fault::cage) return EvidenceClass::cage;
  if (candidate.fault == Fault::dry_joint) return EvidenceClass::dry_joint;
  const Part* part = car.part(candidate.part);
  const PartRole role = part ? part->role : PartRole::other_bearing;
  if (candidate.fault == Fault::chipped_tooth)
    return role == PartRole::gear_pair || role == PartRole::constant_pair ? EvidenceClass::chipped_gear_pair
                                                                          : EvidenceClass::chipped_tooth;
  if (role == PartRole::wheel_bearing || role == PartRole::carrier_bearing)
    return EvidenceClass::wheel_or_carrier_bearing;
  return role == PartRole::machine_bearing || role == PartRole::machine ? EvidenceClass::machine
                                                                        : EvidenceClass::bearing;
}

double heard(const Candidate& candidate) {
  switch (candidate.kind) {
    case EvidenceKind::mesh_sidebands:
      return candidate.level - usual_sidebands_db;
    case EvidenceKind::tyre_orders:
      return candidate.level;
    case EvidenceKind::joint_orders:
      return candidate.level - usual_joint_db;
    case EvidenceKind::events:
      break;
  }
  return candidate.log_factor + candidate.against;
}

double enough_heard(const Candidate& candidate, const Car& car) {
  // "No fault" and the many parts of which nothing is heard weigh about 3 together.
  constexpr double against_all_else = 1.1;
  const WeightsRow& row = row_of(evidence_class(candidate, car));
  return heard_to_add(row, candidate, against_all_else - unheard_logit(row, candidate.knowledge));
}

Experience experience_from(const std::map<Fault, int>& found, int nothing_wrong) {
  constexpr double as_if = 60.0;  // cases
  Experience out;
  out.findings = nothing_wrong;
  for (const auto& [fault, times] : found) out.findings += times;
  const auto shift = [&](double share, int times) {
    return std::log((times + as_if * share) / (out.findings + as_if) / share);
  };
  for (std::size_t f = 0; f < fault_shares.size(); ++f) {
    const auto fault = static_cast<Fault>(f);
    const auto at = found.find(fault);
    if (fault_shares[f] > 0.0)
      out.of_fault[fault] = shift(fault_shares[f], at == found.end() ? 0 : at->second);
  }
  out.of_none = shift(healthy_share, nothing_wrong);
  return out;
}

Ranking rank(const Car& car, const std::vector<Candidate>& candidates, const Experience& experience) {
  std::map<std::string, RankedPart> by_part;
  std::vector<std::string> in_order;
  for (std::size_t i = 0; i < candidates.size(); ++i) {
    const Candidate& c = candidates[i];
    if (!c.turned || c.healthy || c.unlisted()) continue;
    const WeightsRow& row = row_of(evidence_class(c, car));
    const auto met = experience.of_fault.find(c.fault);
    const double often = met == experience.of_fault.end() ? 0.0 : met->second;
    const double prior = unheard_logit(row, c.knowledge) + often, now = logit(row, c, c.knowledge) + often;
    const auto [at, fresh] = by_part.try_emplace(c.part);
    if (fresh) in_order.push_back(c.part);
    if (fresh || now > at->second.logit) at->second = {c.part, {}, i, now, now - prior, {}};
  }
  Ranking ranking;
  for (const std::string& part : in_order) ranking.parts.push_back(by_part[part]);
  std::stable_sort(ranking.parts.begin(), ranking.parts.end(),
                   [](const auto& a, const auto& b) { return a.logit > b.logit; });
  merge_inseparable(ranking.parts, candidates);

  const Candidate* unlisted = unlisted_of(candidates);
  const WeightsRow& row = row_of(EvidenceClass::unlisted);
  const double unexplained_logit =
      unlisted ? logit(row, *unlisted, Knowledge::exact) : unheard_logit(row, Knowledge::exact);
  std::vector<double> logits{experience.of_none, unexplained_logit};
  for (const RankedPart& part : ranking.parts) logits.push_back(part.logit);
  const double all = log_sum_exp(logits);
  ranking.no_fault = Probability(std::exp(experience.of_none - all));
  ranking.unexplained = Probability(std::exp(unexplained_logit - all));
  for (RankedPart& part : ranking.parts) part.probability = Probability(std::exp(part.logit - all));
  return ranking;
}

}  // namespace gearhark
