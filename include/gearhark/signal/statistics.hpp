// Robust statistics of spans, and the tails of the distributions that spectra follow.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace gearhark {

// The value below which a share q (0..1) of the data lies; nearest rank. Empty: 0.
double quantile(std::span<const float> values, double q);
double median(std::span<const float> values);
// Median distance from the median; x 1.4826 is the standard deviation of Gaussian data.
double median_absolute_deviation(std::span<const float> values);

// Mean over a centred window of `width` values, shorter at the ends.
std::vector<float> moving_average(std::span<const float> values, std::size_t width);
// Running median in blocks: medians of `width` values every half width, joined by straight lines. Far cheaper
// than a true running median, and as good for a background that changes slowly.
std::vector<float> block_median(std::span<const float> values, std::size_t width);
// Mean of exponentially distributed noise (one spectrum's bins) from its block median: median = mean x ln 2.
std::vector<float> exponential_background(std::span<const float> values, std::size_t width);

// P(X > x) for a gamma distribution of this shape and scale 1: the regularised upper incomplete gamma
// function Q(shape, x) (series and continued fraction; Abramowitz and Stegun 6.5.29, 6.5.31).
double gamma_upper_tail(double shape, double x);
// P(X > x) for chi-square with this many degrees of freedom.
double chi_square_upper_tail(double freedom, double x);

}  // namespace gearhark
