// The local level model: values that scatter about a level which itself walks at random. It tells a step from
// a wander, and whitens what is fitted to such values.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// value(t) = level(t) + e(t), level(t+1) = level(t) + w(t); e white of variance v(t), w white of variance
/// ratio^2, both in units of one common variance; nothing is known of the first level (A. C. Harvey,
/// Forecasting, Structural Time Series Models and the Kalman Filter, 1989, sec. 4.1 and 3.3.4; from memory).
///
/// whitened() turns a column into the innovations of the Kalman filter over their deviations: values of the
/// model become independent with variance 1 (in the common unit), and a constant becomes 0, so that least
/// squares of whitened columns are generalised least squares with a free level. Cost: linear in the points.
class LocalLevel {
 public:
  /// relative_variance: v(t) by point; not finite or not positive where a value is missing. ratio >= 0.
  LocalLevel(std::span<const double> relative_variance, double ratio);

  /// Innovations of a column of the same size over their deviations; 0 at missing points and the first one
  /// there.
  std::vector<double> whitened(std::span<const double> column) const;

  /// The inner products of a whitened column with the whitened unit steps at each k (0 before k, 1 from k
  /// on), all k at once; of size points.
  std::vector<double> products_with_steps(std::span<const double> whitened) const;
  /// The squared norms of the whitened unit steps.
  std::vector<double> norms_of_steps() const;

  /// The logarithm of the determinant of the innovations' variances.
  double log_determinant() const { return log_determinant_; }

 private:
  // By point: the filter's gain, and 1 over the deviation of the innovation; 0 and 0 where a value is
  // missing, 1 and 0 at the first one there.
  std::vector<double> gain_, weight_;
  double log_determinant_ = 0;
};

}  // namespace firstedge
