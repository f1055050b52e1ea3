// Figures of one pair of channels: every measure of its spread, and what the spread is judged against.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/jitter/pairs.hpp"
#include "firstedge/stats/bootstrap.hpp"
#include "firstedge/stats/gaussian_core.hpp"

#include <array>
#include <cstddef>

namespace firstedge {

/// A pair with fewer usable records has no figures.
inline constexpr std::size_t fewest_pairs = GaussianCore::fewest_values;

/// The figures that the bootstrap gives uncertainties and intervals for, in its order.
enum class PairFigure : std::uint8_t { mean, deviation, half_width, core_centre, core_width, core_fraction };
inline constexpr std::size_t pair_figure_count = 6;

/// Each Estimate has the bootstrap's standard error where the bootstrap has the figure.
struct PairFigures {
  std::size_t pairs = 0;
  Estimate mean, deviation, half_width, median;  ///< s
  GaussianCore core;                             ///< s; its own uncertainties are those of the likelihood
  Estimate core_centre, core_width, core_fraction;
  Estimate beyond_3, beyond_5;  ///< shares beyond 3 and 5 core widths from the core's centre
  /// Root mean squares of the pairs' combined bounds and stated uncertainties (s), and how many pairs have
  /// one.
  double bound_s = 0, stated_s = 0;
  std::size_t with_bound = 0, with_stated = 0;
  Estimate deviation_over_bound;
  /// Central half width of (difference - median)/bound, pair by pair.
  Estimate half_width_over_bound;
  Estimate pull_deviation;   ///< of (difference - median)/stated
  Estimate pull_half_width;  ///< the same, central half width
  Estimate pulls_within_1;   ///< share
  /// Standard deviation of neighbours' differences over sqrt 2, wild values left out, and how many standard
  /// errors it lies below the spread of all (large when the delay drifts).
  double short_term_s = 0, drift_significance = 0;
  std::array<Bootstrapped, pair_figure_count> intervals;
};

/// Throws Error as bootstrap and fit_gaussian_core do. With fewer than fewest_pairs, everything but `pairs`
/// is NaN.
PairFigures pair_figures(const PairSample& sample, const GaussianCoreOptions& core,
                         const BootstrapOptions& bootstrap);

/// (difference - median)/scale for the pairs whose scale is known and positive.
std::vector<double> standardised(const PairSample& sample, const std::vector<double>& scale);

}  // namespace firstedge
