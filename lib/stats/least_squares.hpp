// Linear least squares with correlated values, and the probability of a chi-square.
#pragma once

#include "firstedge/core/estimate.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// Parameters that solve values = design * parameters.
struct LinearFit {
  std::vector<double> parameters;
  std::vector<double> covariance;  ///< of the parameters, row by row
  double chi_square = 0, degrees_of_freedom = 0;
  double probability = 1;  ///< of a chi-square as large or larger; 1 without degrees of freedom
  /// False where the covariance of the values was not positive definite: then all values count the same, the
  /// parameters' covariance is still that of the values carried through, and there is no chi-square (NaN).
  bool weighted = true;

  Estimate parameter(std::size_t i) const;
};

/// Generalised least squares (A. C. Aitken, Proc. R. Soc. Edinburgh 55 (1936) 42). design: row by row, shape
/// (values, parameters); covariance of the values: row by row, shape (values, values). The covariance is
/// taken as known: the parameters' degrees of freedom are infinite. Rows and columns are scaled inside, so
/// that SI numbers of any size lose no digits: relative rounding below 1e-10 for designs of a condition
/// number below 1e5. NaN parameters where the design does not determine them or a value is not finite.
LinearFit least_squares(std::span<const double> design, std::span<const double> values,
                        std::span<const double> covariance);

/// Probability of a chi-square as large or larger; 1 for no degrees of freedom, NaN for NaN.
double chi_square_probability(double chi_square, double degrees_of_freedom);

}  // namespace firstedge
