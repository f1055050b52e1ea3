// Propagation of distributions by drawing from them (JCGM 101:2008): for functions that curve, inputs that
// are not normal, and as the check of the law of propagation.
#pragma once

#include "firstedge/core/distribution.hpp"
#include "firstedge/stats/bootstrap.hpp"
#include "firstedge/stats/propagation.hpp"

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace firstedge {

/// What is drawn from: the inputs and the distribution of each.
struct DrawnInputs {
  InputQuantities inputs;
  std::vector<Distribution> distributions;  ///< shape (n,); empty: all normal
};

struct MonteCarloOptions {
  double coverage = 0.95;
  std::uint64_t seed = 1;
};

struct AdaptiveTrials {
  int significant_digits = 2;           ///< of the standard uncertainty that must stand, 1 to 4
  std::size_t most_trials = 2'000'000;  ///< where it ends unsettled
};

/// The output's distribution as drawn.
struct Drawn {
  double mean = 0, deviation = 0;  ///< estimate and standard uncertainty (7.6)
  Interval symmetric;              ///< between the quantiles (1 - coverage)/2 and (1 + coverage)/2 (7.7)
  Interval shortest;               ///< the shortest that holds the coverage (7.7, and 5.3.4)
  std::vector<double> sorted;      ///< the draws in rising order: the discrete distribution of 7.5
  bool settled = true;             ///< false: the digits asked for did not stand after most_trials
};

/// The fewest trials that an interval of 95 % may rest on, and the most that are drawn.
inline constexpr std::size_t fewest_trials = 1000;
inline constexpr std::size_t most_trials_ever = 50'000'000;

/// Draws `trials` times (JCGM 101:2008, clause 7; 10^6 often gives a 95 % interval to one or two digits of
/// the uncertainty, 7.2.2).
///
/// Correlated inputs are drawn from their joint normal distribution (6.4.8); all of them must be normal.
/// Trials are drawn by blocks, each with a generator seeded from (seed, block), so that more trials go on
/// from fewer. The ends of an interval scatter by sqrt(p (1 - p)/trials) over the density there.
///
/// Throws Error as propagate(), for a correlation that no distribution has (not positive semidefinite), a
/// correlated input that is not normal, distributions of another number than inputs, trials outside
/// [fewest_trials, most_trials_ever], and a coverage outside (0, 1).
Drawn draw_output(const Measurand& measurand, const DrawnInputs& drawn, std::size_t trials,
                  const MonteCarloOptions& options = {});

/// Draws blocks of max(10^4, 100/(1 - coverage)) trials until twice the standard deviation of the mean over
/// blocks is below half a unit of the last significant digit of the uncertainty, for the estimate, the
/// uncertainty and both ends of the symmetric interval (JCGM 101:2008, 7.9; from ten blocks on, since two may
/// agree by chance). Throws as draw_output, and for digits or most_trials without sense.
Drawn draw_output_adaptively(const Measurand& measurand, const DrawnInputs& drawn,
                             const AdaptiveTrials& adaptive = {}, const MonteCarloOptions& options = {});

}  // namespace firstedge
