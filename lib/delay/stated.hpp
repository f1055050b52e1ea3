// The uncertainty that is stated for a fitted figure.
#pragma once

#include "firstedge/core/estimate.hpp"

#include <algorithm>
#include <cmath>

namespace firstedge {

/// Up to here a misfit is taken as noise that is known to a few per cent only; above it enlarges
/// uncertainties.
inline constexpr double largest_good_misfit = 1.1;

/// `fitted` with its uncertainty times the misfit where that is not good, or, if larger, what leaving groups
/// of records out says (NaN: not known).
inline Estimate stated(Estimate fitted, double misfit, double jackknifed) {
  if (misfit > largest_good_misfit) fitted.uncertainty *= misfit;
  if (std::isfinite(jackknifed)) fitted.uncertainty = std::max(fitted.uncertainty, jackknifed);
  return fitted;
}

}  // namespace firstedge
