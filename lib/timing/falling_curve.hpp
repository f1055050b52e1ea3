// Falling curve: a smooth falling function of a positive quantity, fitted to many scattered points.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// value[i] is the curve where the natural logarithm of its argument is first_log + i * step_log;
/// uncertainty[i] likewise, a standard uncertainty. Invariant: both have the same size, at least 2, and value
/// falls or stays.
struct FallingCurve {
  double first_log = 0, step_log = 0;
  std::vector<double> value, uncertainty;
  std::size_t points_used = 0;
  double scatter = 0;  ///< of the points around the curve, over what their uncertainties say
};

struct CurvePoint {
  double argument = 0;
  double value = 0;
  double uncertainty = 0;  ///< of the value
};

struct FallingCurveOptions {
  std::size_t fewest_points = 50;
  int intervals = 24;  ///< of the spline, over the logarithm of the argument
};

/// The curve through the points; those that are not finite, or whose argument or uncertainty is not over 0,
/// are left out.
///
/// Method: a cubic spline in the logarithm of the argument with a penalty on its second differences (P.
/// Eilers, B. Marx, Statist. Sci. 11 (1996) 89), its weight chosen by generalised cross-validation;
/// neighbouring coefficients that rise are held together by a large penalty until none does (after K.
/// Bollaerts, P. Eilers, I. van Mechelen, Statist. Med. 25 (2006) 1451); robust by Tukey's biweight at 4.685
/// of the median scatter (P. Huber, Robust Statistics (1981), 7.8); all from memory. Points weigh by 1 over
/// their variance and the median one added up. The uncertainty is that of the spline's coefficients, times
/// the scatter of the points where that is over what their uncertainties say. It does not hold what the
/// smoothing itself leaves out, nor errors of the arguments.
///
/// Throws Error for fewer than fewest_points usable points or an argument that is the same for all.
FallingCurve falling_curve(std::span<const CurvePoint> points, const FallingCurveOptions& options = {});

/// The curve at an argument, its change with the logarithm of the argument, and its standard uncertainty.
/// Beyond the ends it goes on straight, and what is so added counts as uncertainty too. NaN for an argument
/// that is not over 0.
struct CurveValue {
  double value = 0;
  double per_log = 0;
  double uncertainty = 0;
};
CurveValue value_at(const FallingCurve& curve, double argument);

}  // namespace firstedge
