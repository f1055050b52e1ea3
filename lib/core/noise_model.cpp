#include "firstedge/core/noise_model.hpp"

#include <cmath>

namespace firstedge {

double NoiseModel::rms_v() const {
  return autocovariance_v2.empty() ? 0.0 : std::sqrt(autocovariance_v2.front());
}

NoiseModel white_noise(double rms_v, double interval_s) {
  return {.interval_s = interval_s, .autocovariance_v2 = {rms_v * rms_v}, .samples_used = 0};
}

}  // namespace firstedge
