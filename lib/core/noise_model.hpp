// NoiseModel: what is known of the noise of one channel.
#pragma once

#include <cstddef>
#include <vector>

namespace firstedge {

/// Stationary noise of one channel at its sample interval, after the channel's filters.
///
/// autocovariance_v2[k] is the covariance of samples k apart (V^2), shape (lags,), lags >= 1; lags beyond it
/// are taken as 0. Invariant: the symmetric Toeplitz matrix made of it is positive definite (the estimator
/// tapers it).
struct NoiseModel {
  double interval_s = 0;
  std::vector<double> autocovariance_v2;
  std::size_t samples_used = 0;  ///< how many pulse-free samples it was learnt from; 0 when it was given

  double rms_v() const;
  double covariance_v2(std::size_t lag) const {
    return lag < autocovariance_v2.size() ? autocovariance_v2[lag] : 0.0;
  }
};

/// White noise of the given standard deviation.
NoiseModel white_noise(double rms_v, double interval_s);

}  // namespace firstedge
