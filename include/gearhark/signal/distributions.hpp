// Tails of the distributions that noise in spectra follows, and tests over many bins.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "gearhark/units/quantity.hpp"

namespace gearhark {

// P(X > x) for a gamma distribution of this shape and scale 1: the regularised upper incomplete gamma
// function Q(shape, x), by series or continued fraction (Abramowitz and Stegun 6.5.29, 6.5.31).
double gamma_upper_tail(double shape, double x);
// P(X <= x), exact also where it is tiny.
double gamma_lower_tail(double shape, double x);
// Natural logarithm of the upper tail; finite where the tail itself is below the smallest double.
double log_gamma_upper_tail(double shape, double x);

// P(X > x) for chi-square with this many degrees of freedom, not necessarily whole.
double chi_square_upper_tail(double freedom, double x);
double log_chi_square_upper_tail(double freedom, double x);
// The x that chi-square exceeds with probability p (0 < p < 1), by bisection of the logarithm.
double chi_square_exceeded(double freedom, double p);

// P(F > x) for the ratio of two means with these degrees of freedom, by the incomplete beta function
// (continued fraction, Abramowitz and Stegun 26.5.8).
double f_upper_tail(double numerator_freedom, double denominator_freedom, double x);
double f_exceeded(double numerator_freedom, double denominator_freedom, double p);

// How far a bin of a spectrum averaged from noise (`freedom` degrees; 2 per independent average) rises over
// the true mean with probability p. Welch, IEEE Trans. AU-15, 1967.
Decibels exceedance_level(double freedom, double p);
// The same over the mean of `neighbours` other bins of the same spectrum, which is itself uncertain.
Decibels exceedance_over_neighbours(double freedom, double neighbours, double p);

// Median over mean of such a bin: ln 2 for one average (freedom 2), towards 1 for many.
double averaged_median_bias(double freedom);

// Degrees of freedom of an average over `averages` windowed periodograms taken `hop` samples apart.
// Percival and Walden, Spectral Analysis for Physical Applications, 1993, eq. 292b.
double welch_freedom(std::span<const float> weights, std::size_t hop, std::size_t averages);

// Which of these chances stand out when a share q of false ones among those named is accepted: all up to the
// largest with p(i) <= i q / m. Benjamini and Hochberg, J. R. Stat. Soc. B 57, 1995.
std::vector<bool> false_discovery_rejections(std::span<const double> chances, double q);
// The smallest q at which each would be named.
std::vector<double> false_discovery_adjusted(std::span<const double> chances);

// One chance from independent ones (each > 0): -2 sum ln p is chi-square with 2m degrees of freedom. Fisher,
// Statistical Methods for Research Workers, 1932. None: 1.
double fisher_combination(std::span<const double> chances);

}  // namespace gearhark
