// Missing samples: what is left of whitened runs when some of their samples are not to be believed.
#pragma once

#include "firstedge/timing/noise_whitening.hpp"

#include <cstddef>
#include <vector>

namespace firstedge {

/// Takes out of whitened runs all that hangs on the samples left out, and nothing else: sums of products of
/// two runs treated so are a' C^-1 b over the samples that are left, C their own covariance.
///
/// Method: each sample left out is a free parameter of its own, so that the runs lose their part along its
/// whitened unit column (that a parameter of its own leaves the others as if the sample had not been taken:
/// S. Searle, Linear Models (1971), 8.6, from memory; held to the dense inverse by tests/unit/timing). In
/// white noise that zeroes the rows of those samples. Accuracy: 1e-9 relative for covariances that
/// NoiseWhitening inverts whole.
///
/// Where the work would be too much (samples left out times the square of the whitening's order over 2e7),
/// the rows that the samples left out reach are zeroed instead: still right, but it loses what they knew.
class MissingSamples {
 public:
  /// None is missing.
  MissingSamples() = default;
  /// left_out: one a sample of the runs, shape (n,).
  MissingSamples(const std::vector<bool>& left_out, const NoiseWhitening& whitening);

  bool none() const { return missing_ == 0; }
  /// How many rows' worth of knowledge a run has lost.
  std::size_t rows_lost() const { return missing_; }

  /// A run of shape (n,) without what hangs on the samples left out.
  std::vector<double> taken_out(std::vector<double> white) const;

 private:
  void remember_columns(const std::vector<bool>& left_out, const NoiseWhitening& whitening);
  double product(std::size_t earlier, std::size_t later) const;

  std::size_t missing_ = 0;
  std::vector<bool> rows_out_;                // where rows are zeroed: white noise, or too much work
  std::vector<std::size_t> samples_;          // those left out, in order
  std::vector<std::vector<double>> columns_;  // whitened unit column of each, from its sample on
  std::vector<std::vector<double>> factor_;  // Cholesky, of their products: factor_[i][k] is element i, i - k
};

}  // namespace firstedge
