// Fit of a Landau distribution blurred by a normal one to pulse heights or charges, by maximum likelihood.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/stats/landau_gaussian.hpp"

#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <string_view>

namespace firstedge {

/// Only values in [low, high] are fitted, and the curve is cut there too: give the trigger threshold as low
/// and the digitizer's limit as high, and the cut leaves no bias.
struct LandauGaussianFitOptions {
  double low = -std::numeric_limits<double>::infinity();
  double high = std::numeric_limits<double>::infinity();
};

struct LandauGaussianFit {
  enum class Outcome : std::uint8_t {
    found,
    too_few,    ///< fewer than fewest_values values in the range
    no_spread,  ///< more than half of the values are equal
    /// Landau's curve alone fits best: gaussian_width is 0, its uncertainty not known, and the other
    /// uncertainties are those of a curve without blur.
    no_gaussian_width,
    no_landau_width,  ///< a normal curve fits best: landau_width is at its lower limit, not known
    not_determined,   ///< the likelihood has no maximum with finite uncertainties (too much is cut off)
  };
  static constexpr std::size_t fewest_values = 50;

  Outcome outcome = Outcome::too_few;
  Estimate most_probable;  ///< of the Landau part
  Estimate landau_width;
  Estimate gaussian_width;
  Estimate peak;    ///< of the blurred curve
  Estimate pulses;  ///< under the whole curve, with those cut away
  double low = 0, high = 0;
  std::size_t inside = 0, below = 0, above = 0, not_finite = 0;
  /// Pearson's chi-square over bins of equal probability with at least 10 values expected, and its
  /// probability. It tells a poor fit; with the parameters fitted to the values themselves it is
  /// approximate.
  double chi_square = 0, degrees_of_freedom = 0, probability = 0;

  bool usable() const { return outcome == Outcome::found || outcome == Outcome::no_gaussian_width; }
  LandauGaussian curve() const { return {most_probable.value, landau_width.value, gaussian_width.value}; }
};

/// A sentence part for each outcome.
std::string_view words_of(LandauGaussianFit::Outcome outcome);

/// Unbinned maximum likelihood in (most probable value, ln Landau width, ln Gaussian width) from starts that
/// share the sample's peak and width out in several ways; uncertainties from the inverse Hessian of the
/// likelihood, carried to the figures to first order. Degrees of freedom: values in the range less 3.
///
/// Accuracy: the curve is known to 2e-5, so biases below 0.02 standard errors up to 1e6 values. Values far
/// below the curve (a pedestal left in) pull the Gaussian width up: set low. The ratio of the widths is
/// searched from 0.02 to 10. Values that are not finite or outside the range are counted, not used. Figures
/// that could not be had are NaN. Throws Error for a range that holds nothing.
LandauGaussianFit fit_landau_gaussian(std::span<const double> values,
                                      const LandauGaussianFitOptions& options = {});

}  // namespace firstedge
