// Noise whitening: turns correlated noise into independent noise of variance 1, so that sums of squares weigh
// samples as their covariance asks.
#pragma once

#include "firstedge/core/noise_model.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// The rows of L^-1, where L L' = C is the Toeplitz covariance of a run of samples: row n is the error of the
/// best linear prediction of sample n from the ones before it, over its standard deviation. For runs a, b of
/// one length, dot(whitened(a), whitened(b)) = a' C^-1 b. Safe to use from many threads.
///
/// Source: Durbin's recursion (J. Durbin, Rev. Inst. Int. Stat. 28 (1960) 233; G. Golub, C. Van Loan, Matrix
/// Computations, 4.7.2; page from memory). Cost: O(order^2) once, then (order + 1) products a sample.
///
/// Order of prediction: grown until the partial correlations left over do not matter. For a model that was
/// given (samples_used = 0), until their squares sum to less than 1e-8, which moves a' C^-1 a by less than
/// 1e-3 of itself in the worst case; for a model that was learnt, to the least of Akaike's criterion,
/// samples_used * log(variance of prediction) + 2 * order (H. Akaike, IEEE AC-19 (1974) 716), so that chance
/// correlations are not taken for real ones. Never more than longest_order.
///
/// Where it fails: a covariance that is not positive definite, or so nearly singular that the variance of
/// prediction falls below least_variance of the noise's own, is not inverted any further: the recursion stops
/// there and the noise is taken as the autoregressive process of that order (the extension of maximum
/// entropy, always positive definite). A model without a positive, finite variance is not `known()`; it
/// whitens with standard deviation 1 V.
class NoiseWhitening {
 public:
  static constexpr std::size_t longest_order = 1024;
  static constexpr double least_variance = 1e-6;

  /// For runs of up to longest_run samples (longer ones work too, with the last order).
  NoiseWhitening(const NoiseModel& noise, std::size_t longest_run);

  /// One number a sample, shape as given.
  std::vector<double> whitened(std::span<const double> values) const;

  /// The values amid zeros, at least order() before them, whitened: from the first value on as far as they
  /// reach, shape (values.size() + order(),).
  std::vector<double> whitened_amid_zeros(std::span<const double> values) const;

  /// What whitened() makes of a run of `samples` that is 1 at `sample` and 0 elsewhere, from that sample on
  /// (it is 0 before it), as far as it reaches: shape (min(order() + 1, samples - sample),).
  std::vector<double> unit_column(std::size_t sample, std::size_t samples) const;

  /// L^-1' times the numbers given: the weights of the samples in a weighted sum of whitened samples.
  std::vector<double> sample_weights(std::span<const double> white_weights) const;

  /// How many samples before it a whitened sample depends on, at most.
  std::size_t order() const { return rows_.size() - 1; }
  bool known() const { return known_; }

 private:
  std::vector<std::vector<double>> rows_;  // rows_[m][i]: weight of the sample m - i before, shape (m + 1,)
  /// The rows before the last one, eight together as products_with_eight() takes them.
  std::vector<std::vector<double>> first_rows_;
  bool known_ = false;
};

}  // namespace firstedge
