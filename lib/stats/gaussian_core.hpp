// Gaussian core: the normal part of a sample that has tails, fitted inside a window around its centre.
#pragma once

#include "firstedge/core/estimate.hpp"

#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

namespace firstedge {

struct GaussianCoreOptions {
  double window_sigmas = 2.5;  ///< half the window, in widths of the core; 1 to 10
  std::size_t most_rounds = 100;
};

/// A normal distribution cut to centre +- window_sigmas widths and fitted to the values in there.
struct GaussianCore {
  enum class Outcome : std::uint8_t {
    found,
    too_few,      ///< fewer than fewest_values finite values, or in the window
    no_spread,    ///< more than half of the values are equal
    no_peak,      ///< the values in the window are as flat as a box, or hollow: no normal distribution fits
    not_settled,  ///< window and fit do not come to rest; the last round is given
  };
  static constexpr std::size_t fewest_values = 20;

  Outcome outcome = Outcome::too_few;
  Estimate centre, width;
  /// Share of all finite values that belong to the whole curve: the values in the window over the part of the
  /// curve in it. 1 for a normal sample, and above 1 by chance or where the curve does not fit.
  Estimate fraction;
  double window_low = 0, window_high = 0;
  std::size_t inside = 0, total = 0;

  bool usable() const { return outcome == Outcome::found || outcome == Outcome::not_settled; }
};

/// A sentence part for each outcome ("found", "too few values", ...).
std::string_view words_of(GaussianCore::Outcome outcome);

/// Unbinned maximum likelihood of the truncated normal distribution; the window follows the fit until both
/// stand. Since the cut is part of the likelihood, the width has no bias from it. For a normal sample of n
/// values the default window gives a width with relative standard error 0.87/sqrt(n) (0.71/sqrt(n) is the
/// best without tails). Uncertainties: inverse information at the final window (A. C. Cohen, Ann. Math. Stat.
/// 21 (1950) 557 for the estimator; from memory), the fraction's with the binomial scatter of the count; they
/// hold to 5 % for normal samples and come out too small where there are tails: take a bootstrap there.
///
/// Tails in the window count to the core. Normal tails five widths wide, by simulation: a share of 5 % gives
/// a width 1.6 % and a fraction 2.1 % too large, a share of 20 % gives 9 % and 9 %. A window of 2 widths
/// halves that and costs a quarter of the precision.
///
/// Values at the window's edge may leave several windows that stand; the one that the quartiles lead to is
/// taken, and wild values far outside may move it to a neighbour, by up to about one standard error.
///
/// Fails to describe: two narrow peaks side by side (they count as one wide core); tails that are more than
/// about a third of the sample (they pull the width up). Values that are not finite are left out. Throws
/// Error for a window outside 1 to 10. Values that are NaN in the result could not be had.
GaussianCore fit_gaussian_core(std::span<const double> values, const GaussianCoreOptions& options = {});

/// The same for finite values in rising order, value i being there multiplicity[i] times.
GaussianCore fit_gaussian_core(std::span<const double> sorted, std::span<const std::uint32_t> multiplicity,
                               const GaussianCoreOptions& options);

}  // namespace firstedge
