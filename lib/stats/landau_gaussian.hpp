// Landau distribution blurred by a normal one: pulse heights of fast charged particles as a sensor shows
// them.
#pragma once

#include <cstddef>
#include <vector>

namespace firstedge {

/// The distribution of L + G, where L has the density phi((x - most_probable)/landau_width + landau_mode)/
/// landau_width and G is normal with mean 0 and standard deviation gaussian_width. landau_width > 0,
/// gaussian_width >= 0.
struct LandauGaussian {
  double most_probable = 0;  ///< of the Landau part; the peak of the blurred curve lies to the right of it
  double landau_width = 1;
  double gaussian_width = 0;
};

/// Density at x by the trapezoidal rule over the Gaussian, which converges exponentially: relative error
/// below landau_gaussian_density_error where the density is over a thousandth of its peak, for gaussian_width
/// from 0 to 20 landau_width; further left it follows Landau's rational approximation (1e-5 at 1e-5 of the
/// peak).
inline constexpr double landau_gaussian_density_error = 1e-6;
double landau_gaussian_density(double x, const LandauGaussian& curve);

/// Where the density is highest, to 1e-6 of the curve's width.
double landau_gaussian_peak(const LandauGaussian& curve);

/// The density of one curve prepared for many values: the logarithm tabulated where the curve bends,
/// interpolated by cubics (relative error of the density below 2e-5 for values up to `highest`), and its
/// integral.
class LandauGaussianTable {
 public:
  /// highest: values beyond it are extrapolated along the tail. Same conditions on the curve.
  LandauGaussianTable(const LandauGaussian& curve, double highest);
  double log_density(double x) const;
  /// Probability below x; absolute error below 1e-6 up to `highest`, a few percent of what is left beyond it.
  double cumulative(double x) const;

 private:
  // The table is even in w = asinh((u - centre)/stretch), u in Landau widths.
  double position(double x) const;
  double log_at(double position) const;

  LandauGaussian curve_;
  double stretch_ = 1, first_w_ = 0;
  std::vector<double> log_density_, slope_, cumulative_;
};

}  // namespace firstedge
