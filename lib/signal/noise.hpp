// Noise of a channel, learnt from pulse-free stretches: rms, autocovariance, power spectral density, pick-up
// lines.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/core/noise_model.hpp"
#include "firstedge/signal/conditioned_trace.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// Gathers pulse-free stretches of one channel. Order-dependent sums are avoided where they would break
/// bit-equality: add stretches in record order.
class NoiseAccumulator {
 public:
  /// lags: length of the autocovariance kept. Stretches of fewer than 2 samples are ignored.
  NoiseAccumulator(double interval_s, std::size_t lags);
  void add(std::span<const double> volts);
  std::size_t samples() const;
  /// The model so far: autocovariance without bias from the mean taken away, then tapered to stay positive
  /// definite.
  NoiseModel model() const;

 private:
  double interval_s_ = 0;
  std::vector<double> sums_;
  std::vector<double> counts_;
  std::size_t samples_ = 0;
};

/// One-sided power spectral density by Welch's method (Hann window, half overlap, mean of each segment taken
/// away), equal to scipy.signal.welch. V^2/Hz against Hz, shapes (segment/2 + 1,).
struct PowerSpectrum {
  std::vector<double> frequency_hz;
  std::vector<double> density_v2_per_hz;
  std::size_t segments = 0;
};
PowerSpectrum welch(std::span<const double> volts, double interval_s, std::size_t segment);

/// The mean of spectra of equal shape, for stretches that are not neighbours.
PowerSpectrum mean_of(const std::vector<PowerSpectrum>& spectra);

/// A pick-up line: a frequency that stands out of the noise around it.
struct PickUpLine {
  Estimate frequency_hz;
  double amplitude_v = 0;  ///< peak value of the sine
  double excess_db = 0;    ///< of its density over the median density around it
};
std::vector<PickUpLine> find_pick_up_lines(const PowerSpectrum& spectrum);

}  // namespace firstedge
