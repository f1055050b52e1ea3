// Noise of one simulated channel: white, shaped by the band, and 1/f, drawn in the frequency domain.
#pragma once

#include "firstedge/simulate/plan.hpp"

#include <cstddef>
#include <random>
#include <vector>

namespace firstedge {

/// Draws stretches of stationary Gaussian noise. Each stretch comes from a circular one of at least twice its
/// length, so that its ends are not tied together; the standard deviations of the plan hold for a sample.
class NoiseSource {
 public:
  NoiseSource(const NoisePlan& plan, double band_hz, std::size_t samples, double interval_s);

  /// Shape (samples,), volts.
  std::vector<double> draw(std::mt19937_64& engine) const;

  /// The true one-sided density (V^2/Hz) at the frequencies of a transform of `size` samples: shape (size/2 +
  /// 1,). Without pick-up lines.
  std::vector<double> density_v2_per_hz(std::size_t size) const;

 private:
  double density_at(double frequency_hz) const;

  NoisePlan plan_;
  double band_hz_ = 0, interval_s_ = 0;
  std::size_t samples_ = 0, circle_ = 0;
  double flicker_scale_ = 0, band_scale_ = 0;
  std::vector<double>
      amplitude_;  // standard deviation of the real and imaginary part of each line of the circle
};

}  // namespace firstedge
