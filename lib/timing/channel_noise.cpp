#include "firstedge/timing/channel_noise.hpp"

namespace firstedge {

ChannelNoise::ChannelNoise(NoiseModel model) : model_(std::move(model)) {
  const std::size_t lags = std::max<std::size_t>(model_.autocovariance_v2.size(), 1);
  sums_.reserve(lags + 1);
  moments_.reserve(lags + 1);
  sums_.push_back(0);
  moments_.push_back(0);
  for (std::size_t lag = 0; lag < lags; ++lag) {
    sums_.push_back(sums_.back() + model_.covariance_v2(lag));
    moments_.push_back(moments_.back() + static_cast<double>(lag) * model_.covariance_v2(lag));
  }
}

}  // namespace firstedge
