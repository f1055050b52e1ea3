// Sensors: the resolution of each of three or more sensors, told apart by the widths of their pairs.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/stats/bootstrap.hpp"
#include "firstedge/stats/gaussian_core.hpp"

#include <cstddef>
#include <vector>

namespace firstedge {

/// More sensors than this are refused: their pairs' covariance matrix would need more resamples than are
/// sensible.
inline constexpr std::size_t most_sensors = 10;

/// What one measure of the pair widths says of each sensor.
struct Unfolding {
  std::vector<Estimate> variance;    ///< s^2 by sensor; may be negative
  std::vector<Estimate> resolution;  ///< s; NaN where the variance is not positive
  std::vector<double> covariance;    ///< of the variances, row by row (s^4)
  /// How well the pair variances of four or more sensors agree with one variance a sensor: they do not where
  /// two sensors share an error. 0 degrees of freedom for three.
  double chi_square = 0, degrees_of_freedom = 0, probability = 1;
};

struct SensorResolutions {
  std::size_t records = 0;
  Unfolding by_deviation;  ///< from the pairs' standard deviations
  Unfolding by_core;       ///< from the pairs' Gaussian core widths
};

/// Solves V_ij = s_i^2 + s_j^2 for s^2 by least squares weighted with the covariance of V (plain least
/// squares where that matrix is not positive definite). variances: of pairs (0,1), (0,2) ... (1,2) ..., shape
/// (n(n-1)/2,); covariance the same squared. For n = 3: s_0^2 = (V_01 + V_02 - V_12)/2 and cyclic. Throws
/// Error for n < 3 or n > most_sensors.
Unfolding unfold(std::size_t sensors, const std::vector<double>& variances,
                 const std::vector<double>& covariance);

/// times: [sensor][record], the same records for all, all finite. Uncertainties and the correlations of the
/// pair widths by bootstrap over records. Uncertainty of a resolution: u(s^2)/(2 s).
SensorResolutions sensor_resolutions(const std::vector<std::vector<double>>& times,
                                     const GaussianCoreOptions& core, const BootstrapOptions& options);

}  // namespace firstedge
