// Jitter: how well two channels agree on the time of one particle, and what that says of each sensor.
#pragma once

#include "firstedge/core/result.hpp"
#include "firstedge/jitter/jitter_stamps.hpp"
#include "firstedge/jitter/over_time.hpp"
#include "firstedge/stats/bootstrap.hpp"
#include "firstedge/stats/gaussian_core.hpp"
#include "firstedge/stats/histogram.hpp"

#include <cstddef>
#include <limits>
#include <string>
#include <vector>

namespace firstedge {

struct JitterOptions {
  struct ChannelPair {
    std::string first, second;
  };
  std::vector<ChannelPair> pairs;  ///< the difference is first less second; none given: every pair
                                   ///< (of at most 32 channels)
  std::string method;              ///< "": the one with the narrowest spread
  FlagSet allowed_flags;           ///< stamps with any other flag are left out, and counted by flag
  double lowest_height_v = 0;      ///< both pulses of a pair must lie in this range
  double highest_height_v = std::numeric_limits<double>::infinity();
  std::size_t height_bins = 8;  ///< of equal population in jitter against height; fewer where pairs are few
  GaussianCoreOptions core;
  BinOptions bins;  ///< of the histograms of differences
  BootstrapOptions bootstrap;
  OverTimeOptions over_time;
};

/// Differences of arrival times of channel pairs.
///
/// For each pair (table "pairs"): mean, standard deviation, central half width (half of the range that holds
/// 68.27 %), Gaussian core with its fraction, shares beyond 3 and 5 core widths; intervals by bootstrap over
/// records (table "intervals"). Beside the spread (table "bounds") stand the Cramer-Rao bound and the stated
/// uncertainty: root mean square over pairs of the two channels' added in quadrature; and the central half
/// width of (difference - median) over each pair's own bound, which is 1 for the best possible method
/// whatever the mix of heights. Pulls are the same with the stated uncertainty: their standard deviation and
/// the share within 1 (0.683 when uncertainties are true).
///
/// Sensors (table "sensors"): with two channels, each one's share if both are equally good: spread/sqrt(2).
/// With three or more, the records in which all are timed give pair variances V_ij = s_i^2 + s_j^2, solved
/// for s_i^2 by least squares weighted with the covariance of the V_ij from the bootstrap (exact for three).
/// It holds when the channels' errors are independent; a jitter common to all (the trigger's) drops out, one
/// shared by two is put on the others. A negative variance is reported as such and makes a warning.
///
/// Jitter against height (table "heights"): bins of the lower of the two heights; the spread is fitted with
/// sigma^2 = (a/height)^2 + b^2.
///
/// Over time (tables "over_time", "course", "time_deviations",
/// "allan_deviations"), for pairs with at least over_time.fewest_pairs
/// usable records: means over even blocks of the run, by the triggers' Instants where the stamps have them
/// (see RunClock) and by record numbers otherwise; their time deviation and Allan deviation with intervals;
/// steps, warm-up, drift and wander, which make warnings.
///
/// Degrees of freedom: number of pairs less 1. Everything left out is counted in the table "counts". A pair
/// with fewer than 20 usable records gives counts only, and a warning. Throws Error for names that are not
/// in the table, a pair of a channel with itself, fewer than two channels, or options without sense. The same
/// stamps, options and seed give the same result, bit for bit.
///
/// Where it fails: slow drifts of the delay between channels widen every spread (a warning tells when
/// neighbouring records are more alike than distant ones, and what course the difference takes); bootstrap
/// errors take records as independent.
Result analyse_jitter(JitterStamps stamps, const JitterOptions& options = {});

}  // namespace firstedge
