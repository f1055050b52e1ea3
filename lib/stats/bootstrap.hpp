// Bootstrap: how far figures of a sample would move in another sample like it, by drawing from the sample
// itself.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <span>
#include <vector>

namespace firstedge {

struct BootstrapOptions {
  std::size_t resamples = 1000;
  double coverage = 0.6826894921370859;  ///< of the intervals; this is one standard deviation
  std::uint64_t seed = 1;
};

/// Figures of a sample of which row i is there multiplicity[i] times. Always gives the same number of
/// figures; a figure that cannot be had is NaN.
using Statistics = std::function<std::vector<double>(std::span<const std::uint32_t> multiplicity)>;

struct Interval {
  double low = 0, high = 0;
};

/// What the bootstrap says of one figure.
struct Bootstrapped {
  double value = 0;           ///< of the sample itself
  double standard_error = 0;  ///< standard deviation of the resampled figures
  double bias = 0;            ///< their mean less value
  Interval percentile;        ///< quantiles of the resampled figures
  Interval corrected;         ///< bias-corrected percentile interval (BC, without acceleration)
  std::size_t resamples = 0;  ///< in which the figure could be had
};

/// Figures with their bootstrap errors and, row by row, the covariance of each two of them over the resamples
/// in which both could be had (figures x figures).
struct Bootstrap {
  std::vector<Bootstrapped> figures;
  std::vector<double> covariance;
  double covariance_of(std::size_t a, std::size_t b) const { return covariance[a * figures.size() + b]; }
};

/// Draws `rows` rows with replacement, options.resamples times (B. Efron and R. Tibshirani, An Introduction
/// to the Bootstrap, 1993, ch. 6, 13 and 14; pages from memory). Rows must be independent of each other;
/// where they are not (drift, memory), the errors come out too small.
///
/// Accuracy: the standard error itself scatters by 1/sqrt(2 resamples) (2.2 % at 1000). Resample r is drawn
/// by its own generator seeded from (seed, r), so that it does not depend on how many are drawn or where.
/// Throws Error for fewer than 20 resamples, a coverage outside (0, 1), or more than 4e9 rows. With no rows
/// all figures are those of an empty sample.
Bootstrap bootstrap(std::size_t rows, const Statistics& statistics, const BootstrapOptions& options);

}  // namespace firstedge
