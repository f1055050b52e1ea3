// Stability with confidence: deviations at many averaging times, each with an interval by its noise type.
#pragma once

#include "firstedge/stats/bootstrap.hpp"
#include "firstedge/stats/power_law_noise.hpp"
#include "firstedge/stats/spread.hpp"
#include "firstedge/stats/stability.hpp"

#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <vector>

namespace firstedge {

struct StabilityOptions {
  StabilityMeasure measure = StabilityMeasure::overlapping_allan;
  FactorSpacing spacing = FactorSpacing::octave;
  std::size_t most_factors = 1000;
  double coverage = share_within_one_sigma;
};

/// A deviation with what is known of its noise. The interval holds the true deviation with the coverage asked
/// for; NaN where the noise or the degrees of freedom are not known.
struct StabilityEstimate {
  StabilityPoint point;
  std::optional<PowerLaw> noise = std::nullopt;
  double degrees_of_freedom = std::numeric_limits<double>::quiet_NaN();
  Interval interval{std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::quiet_NaN()};
};

/// The measure at many averaging times, in rising order, without those that have no term.
///
/// Noise type: power_law_noise at each factor (averaged for the modified and time kinds); where too few
/// points are left for it, that of the greatest factor that had enough (SP 1065, sec. 5.5). Of a sum of power
/// laws the steeper rules at the longer averaging time, so the type never goes back to a flatter one; that
/// keeps flicker phase noise, which looks white at every m-th point, what it was at factor 1. A series of
/// fewer than fewest_for_power_law points has none. Degrees of freedom: those of the noise type, times the
/// share of the terms that gaps left. Interval: s sqrt(f/chi-square quantile) on both sides (SP 1065,
/// sec. 5.4); that of the total deviation is for the Allan deviation, its bias taken out.
///
/// Accuracy, by simulation of white phase, white and random walk frequency noise: 68.3 % intervals hold the
/// truth for 65 % to 75 % of series where at least 8 averaging times fit the series, the noise type being
/// found from the same data. Neighbouring averaging times share data, so their intervals miss together.
/// Throws Error as stability_at, and for a coverage outside (0, 1).
std::vector<StabilityEstimate> stability(std::span<const double> phase_s, double interval_s,
                                         const StabilityOptions& options = {});

/// The interval of a deviation with these degrees of freedom by the chi-squared distribution.
Interval chi_squared_interval(double deviation, double degrees_of_freedom, double coverage);

}  // namespace firstedge
