// The offset of matched instants: its robust mean, whether it holds still, and what it goes with.
#pragma once

#include "firstedge/agree/matching.hpp"
#include "firstedge/core/estimate.hpp"
#include "firstedge/stats/course.hpp"

#include <cstddef>
#include <span>
#include <string>
#include <vector>

namespace firstedge {

struct Offset {
  Estimate mean_s;                    ///< statistical standard uncertainty only
  double median_s = 0, spread_s = 0;  ///< spread: standard deviation without the outliers
  double limit_s = 0;                 ///< from the median, beyond which an outlier lies
  std::size_t used = 0,
              outliers = 0;  ///< outliers: beyond outlier_widths central half widths from the median
  /// The means of stretches scatter by more than single differences explain (below a chance of 1 in 1000):
  /// the uncertainty is then that of the stretches' scatter.
  bool wanders = false;
};

inline constexpr double outlier_widths = 5;
/// Stretches that the scatter of means is taken from; at least four differences in each.
inline constexpr std::size_t stretches_compared = 16;

/// Mean without outliers of differences in order of time. A few wild values do not move it; its uncertainty
/// is s/sqrt(n), or that of the stretches. Throws Error for fewer than 2 finite differences.
Offset robust_offset(std::span<const double> differences_s);

/// How a difference goes with something else, judged by ranks, so that no law is assumed.
struct Dependence {
  std::string name, unit;
  std::size_t pairs = 0;
  double rank_correlation = 0;  ///< Spearman; NaN for fewer than 4 pairs or a constant
  /// Of a correlation as strong by chance: Student's t with n - 2 degrees of freedom (C. Spearman 1904; the t
  /// form is common practice, within a few per cent from n = 20 on).
  double probability = 1;
  Estimate slope;  ///< s per unit, by least squares
};

/// values beside differences, same size (assert); pairs with a NaN are left out.
Dependence dependence_on(const std::string& name, const std::string& unit, std::span<const double> values,
                         std::span<const double> differences_s);

/// The differences of each method by itself.
struct MethodOffset {
  std::string method;
  Offset offset;
};

/// The differences against time.
struct OffsetCourse {
  Instant start;       ///< of the first block
  double block_s = 0;  ///< 0: too few differences, or no time between them
  std::vector<double> block_time_s, block_mean_s,
      block_uncertainty_s;  ///< from the first instant; NaN: empty
  Course course;
  Estimate drift;  ///< straight line through all differences, s/s; its probability by Student's t
  double drift_probability = 1;
};

/// time_s: from the first instant, same size as differences_s (assert).
OffsetCourse course_of(std::span<const double> time_s, std::span<const double> differences_s);

}  // namespace firstedge
