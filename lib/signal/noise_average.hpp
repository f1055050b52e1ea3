// NoiseAverage: the spectrum of a channel's noise over the quiet stretches of many traces.
#pragma once

#include "firstedge/signal/noise.hpp"

#include <span>
#include <vector>

namespace firstedge {

/// Welch spectra of the stretches before the pulses, averaged. The segment is the largest power of two that
/// fits into the first stretch, 32 to 1,024 samples; later stretches that are shorter do not count, nor do
/// those after most_stretches. Sums depend on the order of adding in their last bits.
class NoiseAverage {
 public:
  explicit NoiseAverage(double interval_s, std::size_t most_stretches = 500);

  /// quiet_v: shape (samples,), volts without a pulse, finite.
  void add(std::span<const double> quiet_v);
  /// Empty if no stretch was long enough.
  PowerSpectrum spectrum() const;

 private:
  double interval_s_;
  std::size_t most_stretches_;
  std::size_t segment_ = 0;
  std::vector<PowerSpectrum> spectra_;
};

}  // namespace firstedge
