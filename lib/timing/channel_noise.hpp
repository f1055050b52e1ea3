// ChannelNoise: the noise of a channel with those sums of its covariances that every pulse asks for.
#pragma once

#include "firstedge/core/noise_model.hpp"

#include <algorithm>
#include <cstddef>
#include <utility>
#include <vector>

namespace firstedge {

/// A noise model made ready; a model stands for it wherever one is at hand, at the cost of summing up its
/// lags there. Safe to use from many threads.
class ChannelNoise {
 public:
  ChannelNoise(NoiseModel model);  // NOLINT(google-explicit-constructor): says what the model says

  const NoiseModel& model() const { return model_; }

  /// The sum of the covariances of all lags below this one, from lag 0 on, V^2.
  double sum_below(std::size_t lag) const { return sums_[std::min(lag, sums_.size() - 1)]; }

  /// What the lags from 1 on add to the variance of the sum of n samples, V^2: twice the sum over 0 < lag < n
  /// of (n - lag) times their covariance.
  double shared_in_sum(std::size_t n) const {
    const std::size_t end = std::min(n, moments_.size() - 1);
    return end < 2 ? 0 : 2 * (static_cast<double>(n) * (sums_[end] - sums_[1]) - moments_[end]);
  }

 private:
  NoiseModel model_;
  std::vector<double> sums_;     ///< [k]: of the covariances of lags below k; one more than there are lags
  std::vector<double> moments_;  ///< of lag times covariance, likewise
};

}  // namespace firstedge
