// Noise of one simulated channel: white, shaped by the band, and 1/f, drawn in the frequency domain.
#pragma once

#include "firstedge/simulate/plan.hpp"

#include <cstddef>
#include <random>
#include <span>
#include <vector>

namespace firstedge {

/// Draws stretches of stationary Gaussian noise. Each stretch comes from a circular one of at least twice its
/// length, so that its ends are not tied together; the standard deviations of the plan hold for a sample.
class NoiseSource {
 public:
  NoiseSource(const NoisePlan& plan, double band_hz, std::size_t samples, double interval_s);

  /// Shape (samples,), volts.
  std::vector<double> draw(std::mt19937_64& engine) const;

  /// The same noise at instants moved off the samples by offsets_s, shape (samples,), each less than 3
  /// samples: its band-limited course (all there is below Nyquist) on a grid four times as fine, read between
  /// the points by quintic interpolation; 1e-3 of it off at Nyquist, 1e-6 below a third of that. Noise that
  /// is white alone is as likely at any instant and comes as from draw(). The engine is asked for as many
  /// numbers as by draw().
  std::vector<double> draw_at(std::mt19937_64& engine, std::span<const double> offsets_s) const;

  /// The true one-sided density (V^2/Hz) at the frequencies of a transform of `size` samples: shape (size/2 +
  /// 1,). Without pick-up lines.
  std::vector<double> density_v2_per_hz(std::size_t size) const;

 private:
  double density_at(double frequency_hz) const;
  bool is_white() const { return plan_.band_v == 0 && plan_.flicker_v == 0; }
  std::vector<double> draw_circle(std::mt19937_64& engine, std::size_t points) const;

  NoisePlan plan_;
  double band_hz_ = 0, interval_s_ = 0;
  std::size_t samples_ = 0, circle_ = 0;
  double flicker_scale_ = 0, band_scale_ = 0;
  std::vector<double>
      amplitude_;  // standard deviation of the real and imaginary part of each line of the circle
};

}  // namespace firstedge
