// Coherence of two channels' noise: what of it they share, frequency by frequency.
#pragma once

#include "firstedge/signal/noise.hpp"

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace firstedge {

/// Magnitude-squared coherence |Sxy|^2/(Sxx Syy), shapes (segment/2 + 1,): 1 where both are one signal
/// filtered, 0 where they have nothing in common, but for chance: above chance_level at one frequency in a
/// thousand by chance alone.
struct Coherence {
  std::vector<double> frequency_hz, coherence;
  std::size_t segments = 0;
  double chance_level = 1;
};

/// Gathers quiet stretches that two channels recorded at the same time. Welch's method: Hann window, half
/// overlap, the mean of each segment taken away; equal to scipy.signal.coherence to rounding for one stretch.
/// Chance level: 1 - p^(1/(K - 1)) for K independent segments (G. C. Carter, Proc. IEEE 75 (1987) 236; from
/// memory), half-overlapping ones counted as 19 in 20. One segment gives 1 everywhere.
class CoherenceAverage {
 public:
  /// segment: samples, 0 for the largest power of two in the first stretch, 32 to 1,024.
  explicit CoherenceAverage(double interval_s, std::size_t segment = 0);
  /// Both of one shape (assert), finite. Stretches shorter than the segment (or 32) are left out.
  void add(std::span<const double> first_v, std::span<const double> second_v);
  Coherence coherence() const;

 private:
  double interval_s_ = 0;
  std::size_t segment_ = 0, segments_ = 0;
  std::vector<double> first_, second_;  // sums of |X|^2, |Y|^2
  std::vector<std::complex<double>> cross_;
};

/// The lines found in both spectra, no more than a bin apart, where the coherence is over its chance level;
/// the first channel's words. The spectra may have another bin width than the coherence.
std::vector<PickUpLine> common_lines(const PowerSpectrum& first, const PowerSpectrum& second,
                                     const Coherence& coherence);

/// The coherence in the bin nearest to a frequency; NaN without bins.
double coherence_at(const Coherence& coherence, double frequency_hz);

}  // namespace firstedge
