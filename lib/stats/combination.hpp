// Several results for one quantity: their weighted mean, whether they agree, and what to say if they do not.
#pragma once

#include "firstedge/core/estimate.hpp"

#include <cstddef>
#include <span>

namespace firstedge {

/// The mean of independent results, weighted by 1/u^2.
struct WeightedMean {
  Estimate mean;  ///< uncertainty sum(1/u^2)^-1/2: what the stated uncertainties alone allow
  double chi_square = 0;
  std::size_t degrees_of_freedom = 0;  ///< one less than the results
  /// Of a chi-square at least as large if the results agree; consistent from 0.05 on (M. G. Cox, Metrologia
  /// 39 (2002) 589, from memory). NaN for a single result.
  double probability = 0;
  /// sqrt(chi_square / degrees_of_freedom) (R. T. Birge, Phys. Rev. 40 (1932) 207, from memory); NaN for a
  /// single result.
  double birge_ratio = 0;
};

/// results: shape (n,), n >= 1, in one unit. Throws Error for none, and for a value that is not finite or an
/// uncertainty that is not positive.
WeightedMean weighted_mean(std::span<const Estimate> results);

/// The factor by which the uncertainty of the mean is to be enlarged: the Birge ratio of the results whose
/// uncertainty is below 3 sqrt(n) times that of the mean, since the others could hardly contradict; at least
/// 1 (Particle Data Group, Introduction to the Review, from memory). Throws as weighted_mean.
double scale_factor(std::span<const Estimate> results);

/// A mean that takes what the results differ by beyond their uncertainties as a common spread of them all.
struct RandomEffects {
  Estimate mean;
  double between = 0;  ///< standard deviation added to each result in quadrature; 0 if they agree
};

/// `between` by moments of the fixed weights (R. DerSimonian and N. Laird, Control. Clin. Trials 7 (1986)
/// 177). Throws as weighted_mean, and for fewer than 2 results.
RandomEffects random_effects_by_moments(std::span<const Estimate> results);

/// `between` such that chi-square equals the degrees of freedom (R. C. Paule and J. Mandel, J. Res. NBS 87
/// (1982) 377), to 1e-12 of itself. Throws as random_effects_by_moments.
RandomEffects random_effects_by_consistency(std::span<const Estimate> results);

/// How far result `index` lies from the mean that it is part of, with the uncertainty of that distance:
/// u^2 - u(mean)^2, less than either, since the mean contains it (Cox 2002). Throws as weighted_mean.
Estimate distance_from_mean(std::span<const Estimate> results, std::size_t index);

/// chi-square (1 degree of freedom) of the difference of two results that share a part: covariance in the
/// unit squared; a fully shared part drops out. Throws Error if the difference has no positive variance.
double chi_square_of_difference(const Estimate& first, const Estimate& second, double covariance = 0);

}  // namespace firstedge
