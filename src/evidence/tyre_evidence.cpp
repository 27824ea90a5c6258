#include "gearhark/evidence/tyre_evidence.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <optional>

#include "gearhark/evidence/healthy_orders.hpp"

namespace gearhark {
namespace {

// Uneven wear sounds between a few and some fifty times per turn; above that the tread pattern of sound tyres
// begins, with skirts that reach down from it.
constexpr int first_multiple = 3, last_multiple = 56, first_centre = 8, last_centre = 44;
constexpr int first_of_tread = 57, last_of_tread = 60, skirts_from = 20;
constexpr std::size_t strongest_left_out = 2, least_seen = 6;

constexpr int slips_each_way = 12;
constexpr double slip_step = 0.0005;

// Sound tyres stay below this excess, worn ones add so many nats for each of it (practice cases and invented
// road tests, 2026-11: of 200 without a worn tyre one came to more than 1 nat).
constexpr double usual_excess = 0.5, nats_of_excess = 10.0, most_nats = 10.0;
constexpr double not_shown = 0.4;    // chance that a run does not show a worn tyre
constexpr double on_the_mean = 0.5;  // chance that a wheel turns as the mean does, within a step

// lg(1 + excess) by multiple; nothing where another line lies.
using Profile = std::array<std::optional<double>, static_cast<std::size_t>(last_of_tread) + 1>;

Profile profile_at(const TyreRun& run, double slip) {
  Profile profile;
  for (int multiple = first_multiple; multiple <= last_of_tread; ++multiple) {
    const double order = multiple * (1.0 + slip);
    if (near_known(order, run.known)) continue;
    const double half_width = (1.5 + 0.0004 * order * run.tones->turns) / run.tones->turns;
    profile[static_cast<std::size_t>(multiple)] = std::log10(1.0 + run.tones->line_excess(order, half_width));
  }
  return profile;
}

std::vector<double> seen_between(const Profile& profile, int first, int last) {
  std::vector<double> seen;
  for (int multiple = first; multiple <= last; ++multiple)
    if (const auto& value = profile[static_cast<std::size_t>(multiple)]) seen.push_back(*value);
  return seen;
}

double mean(std::span<const double> values) {
  return std::accumulate(values.begin(), values.end(), 0.0) / static_cast<double>(values.size());
}

struct Lumps {
  double excess = 0.0;  // lg(1 + line power over the background), mean over the best stretch of multiples
  int centre = 0;
};

Lumps lumps_in(const Profile& profile) {
  const std::vector<double> tread = seen_between(profile, first_of_tread, last_of_tread);
  Lumps best;
  for (int centre = first_centre; centre <= last_centre; ++centre) {
    const double half = 0.25 * centre + 2.0;
    std::vector<double> seen =
        seen_between(profile, std::max(first_multiple, static_cast<int>(centre - half)),
                     std::min(last_multiple, static_cast<int>(centre + half)));
    if (seen.size() < least_seen) continue;
    std::sort(seen.begin(), seen.end());
    double excess = mean({seen.data(), seen.size() - strongest_left_out});
    if (centre >= skirts_from && !tread.empty()) excess -= std::max(0.0, mean(tread) - excess);
    if (excess > best.excess) best = {excess, centre};
  }
  return best;
}

double log_prior(int step) {
  constexpr double anywhere = (1.0 - on_the_mean) / (2 * slips_each_way + 1);
  return std::log(anywhere + (std::abs(step) <= 1 ? on_the_mean / 3.0 : 0.0));
}

double log_factor_of(const Lumps& lumps) {
  const double nats = std::min(most_nats, nats_of_excess * (lumps.excess - usual_excess));
  return std::log(not_shown + (1.0 - not_shown) * std::exp(nats));
}

}  // namespace

TyreEvidence tyre_evidence(std::span<const TyreRun> runs) {
  TyreEvidence found;
  double top = -1e9, sum = 0.0;
  for (int step = -slips_each_way; step <= slips_each_way; ++step) {
    double log_factor = log_prior(step);
    Lumps loudest;
    for (const TyreRun& run : runs) {
      const Lumps lumps = lumps_in(profile_at(run, slip_step * step));
      log_factor += log_factor_of(lumps);
      if (lumps.excess > loudest.excess) loudest = lumps;
    }
    if (log_factor > top) {
      found.slip = slip_step * step;
      found.centre = loudest.centre;
    }
    const double higher = std::max(top, log_factor);
    sum = sum * std::exp(top - higher) + std::exp(log_factor - higher);
    top = higher;
  }
  found.log_factor = top + std::log(sum);
  return found;
}

}  // namespace gearhark
