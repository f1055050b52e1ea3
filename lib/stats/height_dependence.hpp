// Height dependence: the spread of time differences in bins of height, and the law it follows.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/stats/bootstrap.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// Fewest pairs in a bin.
inline constexpr std::size_t fewest_in_height_bin = 50;

/// Time differences with the height that each goes by (that of a channel, or the lower of two) and the bound
/// of each (s, NaN where not known). All of one size (assert).
struct DifferencesByHeight {
  std::span<const double> difference_s, height_v, bound_s;
};

struct HeightBin {
  double low_v = 0, high_v = 0;      ///< lowest and highest height in it
  double inverse_square_per_v2 = 0;  ///< mean of 1/height^2: what the law's first term goes with
  std::size_t pairs = 0;
  Estimate height_v;   ///< mean
  Estimate median_s;   ///< of the differences: its course with height is the walk left in the method
  Estimate spread_s;   ///< central half width, uncertainty by bootstrap
  double bound_s = 0;  ///< root mean square of the pairs' combined bounds; NaN if none is known
  /// The height at which the law's first term is that of the bin: inverse_square_per_v2^(-1/2).
  double effective_height_v() const;
};

/// sigma^2 = (a/height)^2 + b^2.
struct HeightDependence {
  std::vector<HeightBin> bins;
  std::size_t without_height = 0;          ///< pairs left out since a height is not known or not positive
  Estimate a_squared_v2_s2, b_squared_s2;  ///< as fitted: may be negative
  Estimate a_v_s, b_s;                     ///< their roots; NaN for a negative square
  double chi_square = 0, degrees_of_freedom = 0, probability = 0;  ///< NaN with fewer than 3 bins

  /// The law at a height; a negative term counts as it was fitted.
  double sigma_s(double height_v) const;
};

/// Bins of equal population, `bins` of them or as many as hold fewest_in_height_bin pairs; weighted least
/// squares of the bins' squared spreads against the mean of 1/height^2, which is linear in a^2 and b^2.
/// Throws Error for no bins and as bootstrap.
HeightDependence height_dependence(const DifferencesByHeight& sample, std::size_t bins,
                                   const BootstrapOptions& options);

}  // namespace firstedge
