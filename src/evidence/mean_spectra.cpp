#include "gearhark/evidence/mean_spectra.hpp"

#include <algorithm>
#include <utility>

namespace gearhark {

void MeanOfBins::add(std::span<const float> power, float weight) {
  if (power.size() > sum_.size()) {
    sum_.reserve(power.size());  // by itself it would take twice the room for a few bins more
    sum_.resize(power.size(), 0.0f);
  }
  for (std::size_t k = 0; k < power.size(); ++k) sum_[k] += weight * power[k];
  const auto same =
      std::find_if(ends_.begin(), ends_.end(), [&](const auto& e) { return e.first == power.size(); });
  if (same == ends_.end())
    ends_.emplace_back(power.size(), weight);
  else
    same->second += weight;
}

std::vector<float> MeanOfBins::mean() && {
  constexpr float least_share = 0.25f;
  auto ends = ends_;
  std::sort(ends.begin(), ends.end());
  float left = 0.0f;
  for (const auto& [end, weight] : ends) left += weight;
  const float least = least_share * left;
  std::vector<float> mean = std::move(sum_);
  std::size_t from = 0;
  for (const auto& [end, weight] : ends) {
    if (left < least) break;
    for (; from < end; ++from) mean[from] /= left;
    left -= weight;
  }
  mean.resize(from);
  return mean;
}

void MeanBandSpectra::add_level(const BandLevelSpectra& piece, double weight) {
  if (next_ == power_.size()) {
    like_.levels.push_back({piece.turns, piece.low, piece.high, {}});
    power_.emplace_back(piece.power.size());
  }
  std::vector<MeanOfBins>& sums = power_[next_++];
  for (std::size_t band = 0; band < sums.size(); ++band)
    if (const auto& power = piece.power[band]; !power.empty())
      sums[band].add(power, static_cast<float>(weight));
}

void MeanBandSpectra::end_piece(double mean_rate, double weight) {
  next_ = 0;
  rate_ += weight * mean_rate;
  weight_ += weight;
}

BandSpectra MeanBandSpectra::mean() && {
  BandSpectra out = std::move(like_);
  out.pieces = std::max(1.0, weight_);
  out.mean_rate = weight_ > 0.0 ? rate_ / weight_ : 0.0;
  for (std::size_t l = 0; l < power_.size(); ++l)
    for (MeanOfBins& band : power_[l]) out.levels[l].power.push_back(std::move(band).mean());
  return out;
}

void MeanOrderSpectrum::add(const OrderSpectrum& piece, double weight) {
  std::vector<float> ratio(piece.power.size());
  for (std::size_t k = 0; k < ratio.size(); ++k) ratio[k] = piece.power[k] / piece.background[k];
  power_.add(ratio, static_cast<float>(weight));
  turns_ = piece.turns;
  rate_ += weight * piece.mean_rate;
  weight_ += weight;
}

OrderSpectrum MeanOrderSpectrum::mean() && {
  OrderSpectrum out;
  out.turns = turns_;
  out.mean_rate = weight_ > 0.0 ? rate_ / weight_ : 0.0;
  out.pieces = std::max(1.0, weight_);
  out.power = std::move(power_).mean();
  out.background.assign(out.power.size(), 1.0f);
  return out;
}

}  // namespace gearhark
