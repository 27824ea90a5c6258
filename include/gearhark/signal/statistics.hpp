// Robust statistics of spans: medians, quantiles, running medians and means, and noise floors built on them.
#pragma once

#include <array>
#include <cstddef>
#include <functional>
#include <span>
#include <vector>

namespace gearhark {

// The value below which a share q (clamped to 0..1) of the data lies, interpolated linearly between the two
// nearest (type 7 of Hyndman and Fan, The American Statistician 50, 1996). No data: 0.
double quantile(std::span<const float> values, double q);
// Several at once, for the price of little more than one.
std::vector<double> quantiles(std::span<const float> values, std::span<const double> shares);
double median(std::span<const float> values);
// The middle value, the upper of the two where there are two. No data: 0.
double middle_value(std::vector<double> values);
// Median distance from the median. Times 1.4826 it is the standard deviation of Gaussian data.
double median_absolute_deviation(std::span<const float> values);

// Mean over a centred window of `width` values (an even width counts as the next odd one), shorter at the
// ends.
std::vector<float> moving_average(std::span<const float> values, std::size_t width);
// The same, some at a time in rising order: use(number of the first, means). Values up to the last of these
// may be overwritten then.
void for_moving_average(std::span<const float> values, std::size_t width,
                        const std::function<void(std::size_t, std::span<const float>)>& use);

// True median over the same windows. Each step costs `width` moves: for short windows.
std::vector<float> running_median(std::span<const float> values, std::size_t width);

// Medians of blocks of `width` values every half width, joined by straight lines and held at the ends. Costs
// the same for any width; as good as a running median where the background changes slowly.
std::vector<float> block_median(std::span<const float> values, std::size_t width);

// block_median() where a value is zero or positive: several times quicker.
std::vector<float> block_median_of_positive(std::span<const float> values, std::size_t width);

// Natural logarithms of values + floor, in place; the sums must be positive and normal.
void take_logs(std::span<float> values, float floor);

// Of 16 interleaved rows of zero or positive values, lanes[k * 16 + row], the value of this rank (0: the
// smallest) in each row, and the one above it.
inline constexpr std::size_t ranked_lanes = 16;
using LaneValues = std::array<float, ranked_lanes>;
struct LaneRanked {
  LaneValues value{}, above{};
};
LaneRanked lane_ranked(std::span<const float> lanes, std::size_t rank);
LaneValues lane_rank(std::span<const float> lanes, std::size_t rank);  // the value alone
// The first `count` values of the rows, interleaved.
void interleave(const std::array<const float*, ranked_lanes>& rows, std::size_t count,
                std::span<float> lanes);

// Mean of exponentially distributed noise (the bins of one periodogram) that stays put when tones stand in
// it (values zero or positive): block median / ln 2. For averaged spectra divide block_median() by
// averaged_median_bias() instead.
std::vector<float> exponential_background(std::span<const float> values, std::size_t width);

}  // namespace gearhark
