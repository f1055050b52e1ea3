// Smoothing spline: the least-squares spline of a template's samples, as smooth as a penalty asks. For
// template_regression.cpp.
#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// What is known of the samples: sums over them, by the points of the grid (and one more at either end).
struct SplineSums {
  static constexpr std::size_t band = 4;  ///< of a cubic spline's products, and of third differences
  using Rows = std::vector<std::array<double, band>>;

  Rows products;                  ///< [i][k]: of basis functions i and i + k; symmetric, k from 0 on
  std::vector<double> with_data;  ///< of basis function i with the volts
  double data2 = 0;               ///< of the volts squared
  double heights2 = 0;            ///< of the heights of their pulses, squared
  std::size_t samples = 0;
};

/// The criterion of generalised cross-validation (residual squares over the square of the freedom left,
/// P. Craven and G. Wahba, Numer. Math. 31 (1979) 377) for each weight of the penalty on squared third
/// differences. Infinite where the samples do not fix a spline. Penalties are tried eight side by side, since
/// the recursions wait for their last result; each has the bits that it has in other company
/// (tests/unit/timing).
std::vector<double> cross_validation(const SplineSums& sums, std::span<const double> penalties);

struct SmoothedSpline {
  std::vector<double> coefficients;  ///< of the basis functions
  SplineSums::Rows inverse;          ///< of the penalised products, within the band
  double variance = 0;               ///< of a sample around the spline
  bool is_fixed = false;             ///< or the samples do not fix a spline
};
SmoothedSpline smoothed(const SplineSums& sums, double penalty);

}  // namespace firstedge
