// Scans: the spread against one setting, the best setting, and how much it matters.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/stats/bootstrap.hpp"

#include <cstddef>
#include <vector>

namespace firstedge {

struct Scan {
  std::vector<double> setting;     ///< rising
  std::vector<Estimate> spread_s;  ///< central half width at each, uncertainty by bootstrap
  /// Where the parabola through the best point and its two neighbours is lowest (the best point itself at an
  /// end); its uncertainty is the standard deviation over the resamples.
  Estimate optimum;
  Interval optimum_interval;  ///< quantiles of the resampled optimum
  std::size_t best = 0;       ///< the point with the least spread
  bool at_end = false;        ///< the best point is the first or the last: the optimum may lie beyond
  /// The range of settings around the best point within which the spread, straight between the points, is no
  /// more than `near_best` over the least.
  double flat_from = 0, flat_to = 0;
};

/// columns[i]: differences with setting[i], the same records in every column. Settings in any order, each
/// once. near_best: 0.05 for 5 %. Throws Error for no settings, equal or infinite ones, columns that do not
/// fit, and as bootstrap. The optimum is pulled to the points where the curve is flat beside its noise: look
/// at the interval.
Scan scan_of(const std::vector<double>& settings, const std::vector<std::vector<double>>& columns,
             double near_best, const BootstrapOptions& options);

}  // namespace firstedge
