#include "gearhark/signal/statistics.hpp"

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>

#include "wide/wide.hpp"

namespace gearhark {
namespace {

// Values by rank. Of many values a sample tells about where the wanted one lies; only those near there are
// held, and of them again, until few are left to be put in order. Should a sample have misled, all are.
class Ranks {
 public:
  explicit Ranks(std::span<const float> values) : values_(values) {
    if (values.size() <= few) hold_all();
  }

  float at(std::size_t rank) {
    if (!holds(rank)) hold_about(rank);
    if (!holds(rank)) hold_all();
    float* const place = held_.get() + (rank - before_);
    std::nth_element(held_.get(), place, held_.get() + count_);
    return *place;
  }

 private:
  static constexpr std::size_t few = 1024, most_drawn = 1024;

  [[nodiscard]] bool holds(std::size_t rank) const { return rank >= before_ && rank - before_ < count_; }
  void make_room() {
    if (!held_) held_ = std::make_unique_for_overwrite<float[]>(values_.size() + 16);
    before_ = 0;
  }
  void hold_all() {
    make_room();
    std::copy(values_.begin(), values_.end(), held_.get());
    count_ = values_.size();
  }
  void hold_about(std::size_t rank) {
    make_room();
    count_ = narrow(values_, rank);
    for (std::size_t last = values_.size(); count_ > few && count_ < last && rank >= before_;)
      count_ = narrow(std::span(held_.get(), last = count_), rank);
  }
  // Holds those of `from` (which may be the first of those held) that lie about `rank` of all; how many.
  std::size_t narrow(std::span<const float> from, std::size_t rank) {
    const std::size_t drawn = std::min(most_drawn, from.size() / 4);
    std::vector<float> sample(drawn);
    for (std::size_t i = 0; i < drawn; ++i) sample[i] = from[i * from.size() / drawn];
    // More than four standard deviations of the rank of the middle of so many drawn at random.
    const auto away = static_cast<std::size_t>(2.2 * std::sqrt(static_cast<double>(drawn)));
    const std::size_t middle = std::min(drawn - 1, (rank - before_) * drawn / from.size());
    const float low = middle < away ? -HUGE_VALF : nth(sample, middle - away);
    const float high = middle + away >= drawn ? HUGE_VALF : nth(sample, middle + away);
    return wide().keep_between(from.data(), from.size(), low, high, held_.get(), &before_);
  }
  static float nth(std::vector<float>& values, std::size_t rank) {
    const auto place = values.begin() + static_cast<std::ptrdiff_t>(rank);
    std::nth_element(values.begin(), place, values.end());
    return *place;
  }

  std::span<const float> values_;
  std::unique_ptr<float[]> held_;  // the first count_ of them
  std::size_t count_ = 0;
  std::size_t before_ = 0;  // values below those that are held
};

double quantile_of(Ranks& ranks, std::size_t count, double q) {
  if (count == 0) return 0.0;
  const double rank = std::clamp(q, 0.0, 1.0) * static_cast<double>(count - 1);
  const auto below = static_cast<std::size_t>(rank);
  const double part = rank - std::floor(rank), value = static_cast<double>(ranks.at(below));
  return part == 0.0 ? value : std::lerp(value, static_cast<double>(ranks.at(below + 1)), part);
}

// Value indices [from, to) of the window centred on i.
struct Reach {
  std::size_t from, to;
};
Reach reach(std::size_t i, std::size_t width, std::size_t count) {
  const std::size_t half = width / 2;
  return {i > half ? i - half : 0, std::min(count, i + half + 1)};
}

// sums[i + 1] = sums[0] + the first i + 1 values; each waits for one of the four before it only.
void add_up(std::span<const float> values, double* sums) {
  std::size_t done = 0;
  for (; done + 4 <= values.size(); done += 4) {
    const double a = static_cast<double>(values[done]), b = a + static_cast<double>(values[done + 1]),
                 c = static_cast<double>(values[done + 2]), d = c + static_cast<double>(values[done + 3]);
    const double before = sums[done];
    sums[done + 1] = before + a;
    sums[done + 2] = before + b;
    sums[done + 3] = before + (b + c);
    sums[done + 4] = before + (b + d);
  }
  for (; done < values.size(); ++done) sums[done + 1] = sums[done] + static_cast<double>(values[done]);
}

struct Knots {
  std::vector<double> at, value;
};

// First values of blocks half a block apart, the last of which ends with the data.
std::vector<std::size_t> block_starts(std::size_t count, std::size_t block) {
  const std::size_t step = std::max<std::size_t>(1, block / 2);
  std::vector<std::size_t> starts;
  for (std::size_t from = 0; starts.empty() || starts.back() + block < count; from += step)
    starts.push_back(std::min(from, count - block));
  return starts;
}

constexpr std::size_t at_once = ranked_lanes;
static_assert(at_once == frame_lanes);

// medians_of(first starts, at most at_once, block) gives their medians.
template <class MediansOf>
std::vector<float> joined_medians(std::span<const float> values, std::size_t width,
                                  const MediansOf& medians_of) {
  std::vector<float> out(values.size());
  if (values.empty()) return out;
  const std::size_t block = std::clamp<std::size_t>(width, 1, values.size());
  const std::vector<std::size_t> starts = block_starts(values.size(), block);
  Knots knots;
  for (const std::size_t from : starts)
    knots.at.push_back(static_cast<double>(from) + 0.5 * static_cast<double>(block - 1));
  for (std::size_t i = 0; i < starts.size(); i += at_once)
    medians_of(std::span(starts).subspan(i, std::min(at_once, starts.size() - i)), block, knots.value);
  // From each knot to the next; the ends are held.
  for (std::size_t j = 0, i = 0; i < out.size(); ++j) {
    const std::size_t next = std::min(j + 1, knots.at.size() - 1);
    const bool last = j + 2 >= knots.at.size();
    const std::size_t end =
        last ? out.size() : std::min(out.size(), static_cast<std::size_t>(knots.at[next]) + 1);
    const double gap = knots.at[next] - knots.at[j], over_gap = gap > 0.0 ? 1.0 / gap : 0.0;
    const double at = knots.at[j], value = knots.value[j], rise = knots.value[next] - value;
    const double from = static_cast<double>(i) - at;
    for (int k = 0; k < static_cast<int>(end - i); ++k) {
      const double part = std::min(std::max((from + k) * over_gap, 0.0), 1.0);
      out[i + static_cast<std::size_t>(k)] = static_cast<float>(value + part * rise);
    }
    i = end;
  }
  return out;
}

}  // namespace

double quantile(std::span<const float> values, double q) {
  Ranks ranks(values);
  return quantile_of(ranks, values.size(), q);
}

std::vector<double> quantiles(std::span<const float> values, std::span<const double> shares) {
  Ranks ranks(values);
  std::vector<double> out;
  for (const double share : shares) out.push_back(quantile_of(ranks, values.size(), share));
  return out;
}

double middle_value(std::vector<double> values) {
  if (values.empty()) return 0.0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

double median(std::span<const float> values) { return quantile(values, 0.5); }

double median_absolute_deviation(std::span<const float> values) {
  const auto middle = static_cast<float>(median(values));
  const auto distance = std::make_unique_for_overwrite<float[]>(values.size());
  std::transform(values.begin(), values.end(), distance.get(), [&](float v) { return std::abs(v - middle); });
  return median({distance.get(), values.size()});
}

void for_moving_average(std::span<const float> values, std::size_t width,
                        const std::function<void(std::size_t, std::span<const float>)>& use) {
  const std::size_t half = width / 2, whole = 2 * half + 1;
  const double share = 1.0 / static_cast<double>(whole);
  // Only the sums that the next means need are held, and lie in the nearest cache unless the window is long.
  const std::size_t at_a_time = std::max<std::size_t>(1024, whole);
  const auto sums = std::make_unique_for_overwrite<double[]>(std::min(whole + at_a_time, values.size() + 1));
  const auto means = std::make_unique_for_overwrite<float[]>(std::min(whole + at_a_time, values.size()));
  std::size_t first = 0, end = 0;  // sums of the first `first` values, at sums[0], up to `end`
  sums[0] = 0.0;
  const auto mean = [&](std::size_t i) {
    const auto [from, to] = reach(i, width, values.size());
    return static_cast<float>((sums[to - first] - sums[from - first]) / static_cast<double>(to - from));
  };
  for (std::size_t i = 0; i < values.size();) {
    const std::size_t from = i, next = std::min(values.size(), first + whole + at_a_time - 1);
    add_up(values.subspan(end, next - end), sums.get() + (end - first));
    end = next;
    for (; i < values.size() && i < half && i + half + 1 <= end; ++i) means[i - from] = mean(i);
    if (i >= half && i + half + 1 <= end) {
      const std::size_t count = end - (i + half);
      wide().scaled_differences(sums.get() + (i + half + 1 - first), sums.get() + (i - half - first), count,
                                share, means.get() + (i - from));
      i += count;
    }
    if (end == values.size())
      for (; i < values.size(); ++i) means[i - from] = mean(i);
    use(from, {means.get(), i - from});
    if (end == values.size()) break;
    const std::size_t kept = i - half;
    std::copy(sums.get() + (kept - first), sums.get() + (end - first) + 1, sums.get());
    first = kept;
  }
}

std::vector<float> moving_average(std::span<const float> values, std::size_t width) {
  std::vector<float> out;
  out.reserve(values.size());
  for_moving_average(values, width, [&](std::size_t, std::span<const float> means) {
    out.insert(out.end(), means.begin(), means.end());
  });
  return out;
}

std::vector<float> running_median(std::span<const float> values, std::size_t width) {
  std::vector<float> out(values.size()), sorted;
  Reach held{0, 0};
  for (std::size_t i = 0; i < values.size(); ++i) {
    const Reach wanted = reach(i, width, values.size());
    for (; held.to < wanted.to; ++held.to)
      sorted.insert(std::upper_bound(sorted.begin(), sorted.end(), values[held.to]), values[held.to]);
    for (; held.from < wanted.from; ++held.from)
      sorted.erase(std::lower_bound(sorted.begin(), sorted.end(), values[held.from]));
    const std::size_t n = sorted.size();
    out[i] = 0.5f * (sorted[(n - 1) / 2] + sorted[n / 2]);
  }
  return out;
}

std::vector<float> block_median(std::span<const float> values, std::size_t width) {
  return joined_medians(
      values, width, [&](std::span<const std::size_t> starts, std::size_t block, std::vector<double>& out) {
        for (const std::size_t from : starts) out.push_back(median(values.subspan(from, block)));
      });
}

std::vector<float> block_median_of_positive(std::span<const float> values, std::size_t width) {
  std::vector<float> lanes;
  return joined_medians(
      values, width, [&](std::span<const std::size_t> starts, std::size_t block, std::vector<double>& out) {
        lanes.resize(at_once * block);
        std::array<const float*, at_once> rows{};
        for (std::size_t r = 0; r < at_once; ++r)
          rows[r] = values.data() + starts[std::min(r, starts.size() - 1)];
        interleave(rows, block, lanes);
        LaneRanked middle;
        if (block % 2 == 0)
          middle = lane_ranked(lanes, (block - 1) / 2);
        else
          middle.value = middle.above = lane_rank(lanes, block / 2);
        for (std::size_t r = 0; r < starts.size(); ++r)
          out.push_back(0.5 * (static_cast<double>(middle.value[r]) + static_cast<double>(middle.above[r])));
      });
}

void take_logs(std::span<float> values, float floor) { wide().log_all(values.data(), values.size(), floor); }

void interleave(const std::array<const float*, ranked_lanes>& rows, std::size_t count,
                std::span<float> lanes) {
  wide().interleave(rows.data(), count, lanes.data());
}

LaneValues lane_rank(std::span<const float> lanes, std::size_t rank) {
  LaneValues out{};
  wide().lane_ranked(lanes.data(), lanes.size() / ranked_lanes, rank, out.data(), nullptr);
  return out;
}

LaneRanked lane_ranked(std::span<const float> lanes, std::size_t rank) {
  LaneRanked out;
  wide().lane_ranked(lanes.data(), lanes.size() / ranked_lanes, rank, out.value.data(), out.above.data());
  return out;
}

std::vector<float> exponential_background(std::span<const float> values, std::size_t width) {
  std::vector<float> out = block_median_of_positive(values, width);
  for (float& value : out) value /= std::numbers::ln2_v<float>;
  return out;
}

}  // namespace gearhark
