// Location and spread of a sample: moments with their uncertainties, and robust measures that a few wild
// values cannot move.
#pragma once

#include "firstedge/core/estimate.hpp"

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace firstedge {

/// Turns the median absolute deviation of a normal sample into its standard deviation: 1/Phi^-1(3/4).
inline constexpr double normal_per_median_deviation = 1.482602218505602;
/// The probability within one standard deviation of a normal distribution, erf(1/sqrt 2).
inline constexpr double share_within_one_sigma = 0.6826894921370859;

/// The finite values in rising order. What is left out (NaN, infinite) is the difference in size: count it.
std::vector<double> finite_sorted(std::span<const double> values);

/// Quantile of values in rising order by linear interpolation between the two order statistics around
/// position p (n - 1) (type 7 of R. Hyndman and Y. Fan, Am. Stat. 50 (1996) 361; NumPy's default). p in
/// [0, 1]; NaN for no values. Exact to rounding.
double quantile_of_sorted(std::span<const double> sorted, double p);

/// The same for values of which each is there multiplicity[i] times (a sample drawn with replacement).
/// Both spans have the same size; NaN if all multiplicities are 0.
double quantile_of_sorted(std::span<const double> sorted, std::span<const std::uint32_t> multiplicity,
                          double p);

// Each of the following leaves out values that are not finite and gives NaN if none is left.

double median(std::span<const double> values);

/// The median with its standard uncertainty: half the distance between the quantiles at 1/2 +- 1/(2 sqrt n),
/// whatever the distribution (binomial: the share of a sample below the true median has standard deviation
/// 1/(2 sqrt n); W. J. Conover, Practical Nonparametric Statistics, 3.2, from memory). Independent values;
/// the uncertainty of one value is NaN.
Estimate median_estimate(std::span<const double> values);

/// Median absolute deviation from the median, times normal_per_median_deviation. 0 if more than half of the
/// values are equal.
double scaled_median_deviation(std::span<const double> values);

/// Half the distance between the quantiles that hold the central 68.27 %: the standard deviation of a normal
/// sample, unmoved by up to 15.9 % of wild values on either side. Its standard error for a normal sample is
/// 0.962 sigma/sqrt(n) (asymptotic, derived from the covariance of two quantiles).
double central_half_width(std::span<const double> values);
double central_half_width_of_sorted(std::span<const double> sorted);

/// The shortest interval that holds half of the values (n/2 + 1 of them), and its mean: location of a skewed
/// sample near its mode (D. Andrews et al., Robust Estimates of Location, 1972; from memory).
struct Shorth {
  double low = 0, high = 0, mean = 0;
};
Shorth shorth_of_sorted(std::span<const double> sorted);

/// Mean and standard deviation (n - 1 degrees of freedom), computed around the first value so that a large
/// common offset costs no digits: relative rounding below 1e-13 for spreads over 1e-3 of the largest distance
/// from it.
struct Moments {
  std::size_t count = 0;       ///< finite values
  std::size_t not_finite = 0;  ///< values left out
  /// Uncertainty s/sqrt(n), JCGM 100:2008, 4.2.3; NaN below two values.
  Estimate mean;
  /// Uncertainty s/sqrt(2 (n - 1)), JCGM 100:2008, E.4.3: holds for normal samples only; take a bootstrap
  /// where there are tails. NaN below two values.
  Estimate deviation;
};
Moments moments(std::span<const double> values);

/// The share of `total` trials that came out true: value k/n; its uncertainty is the posterior standard
/// deviation for a uniform prior, sqrt((k+1)(n-k+1)/((n+2)^2 (n+3))), which does not vanish at 0 or n and
/// goes to sqrt(p(1-p)/n). NaN for no trials.
Estimate share_of(std::uint64_t hits, std::uint64_t total);

/// Phi: the standard normal distribution's cumulative probability, density, and the value below which the
/// probability p lies (infinite for 0 and 1). Exact to rounding.
double normal_cumulative(double x);
double normal_density(double x);
double normal_quantile(double p);

}  // namespace firstedge
