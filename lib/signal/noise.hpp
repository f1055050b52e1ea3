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

/// Gathers pulse-free stretches of one channel. Sums depend on the order of adding in their last bits: add
/// stretches in record order.
class NoiseAccumulator {
 public:
  /// lags: the longest autocovariance wanted, 1 or more (0 is taken as 1). step_v: one count in volts, 0 when
  /// not quantised; the model's variance is at least step_v^2/12 (JCGM 100:2008, 4.3.7).
  NoiseAccumulator(double interval_s, std::size_t lags, double step_v = 0);
  /// Stretches of fewer than 2 samples, or with a sample that is not finite, are ignored.
  void add(std::span<const double> volts);
  std::size_t samples() const { return samples_; }

  /// The model so far.
  ///
  /// Learnt from differences, which know nothing of a stretch's own level: half the mean square of x_(i+k) -
  /// x_i is c_0 - c_k without bias, however long the noise remembers (the variogram, G. Matheron, Econ. Geol.
  /// 58 (1963) 1246). c_0 is its mean over the farther two thirds of the lags, so that the covariance of lags
  /// so far is about 0: of noise that is slower than the stretches, only what tells samples of one stretch
  /// from one another is kept; the rest is baseline. Lags reach up to three quarters of the stretches (or the
  /// number asked for), and end where they are no longer significant (after D. N. Politis, J. Nonparametric
  /// Stat. 15 (2003) 453, with a flat-top taper).
  ///
  /// The result is positive definite by construction: see positive_definite(). Nothing added: a variance of
  /// step_v^2/12 and samples_used 0.
  NoiseModel model() const;

 private:
  double interval_s_ = 0;
  double step_v_ = 0;
  std::vector<double> half_squares_;  ///< sums of half the squared differences, by lag
  std::vector<std::size_t> pairs_;    ///< how many there are of each lag
  std::size_t samples_ = 0;
};

/// What is left of the noise where lines of these frequencies (Hz) were fitted over `window_samples` samples
/// and taken away of the whole record (line_removal.hpp), given the model learnt within the window. The noise
/// at a line's frequency gives the fitted sine a variance of 2/n of the sum of c_k cos(2 pi f k dt), which
/// the samples of the window are then short of and the others have too much: twice that sine is added, up to
/// `lags` lags. Lines that fitted_lines() leaves out, and none: the model as it is.
NoiseModel with_lines_taken_out(NoiseModel noise, std::span<const double> frequency_hz,
                                std::size_t window_samples, std::size_t lags);

/// The power spectral density of a positive definite model is nowhere below this share of its mean.
inline constexpr double lowest_spectrum_share = 1e-3;

/// An autocovariance near the one given, of no more lags and the same variance, whose spectrum
/// c0 + 2 sum c_k cos(k w) is at least lowest_spectrum_share * c0 (to 20 % of that) at every w, so that its
/// Toeplitz matrix of any size is positive definite (Herglotz). One that has the property is returned as it
/// is. c0 <= 0 or not finite: a single lag of value c0, or 0.
std::vector<double> positive_definite(std::vector<double> autocovariance);

/// One-sided power spectral density by Welch's method (P. D. Welch, IEEE Trans. AU-15 (1967) 70; Hann window,
/// half overlap, mean of each segment taken away), equal to scipy.signal.welch to rounding. V^2/Hz against
/// Hz, shapes (segment/2 + 1,). A segment longer than the samples is cut to them; no samples: empty.
struct PowerSpectrum {
  std::vector<double> frequency_hz;
  std::vector<double> density_v2_per_hz;
  std::size_t segments = 0;
};
PowerSpectrum welch(std::span<const double> volts, double interval_s, std::size_t segment);

/// The mean of spectra of equal shape (assert), weighted by their segments, for stretches that are not
/// neighbours. None: empty.
PowerSpectrum mean_of(const std::vector<PowerSpectrum>& spectra);

/// The one-sided density of a noise model at the frequencies given, V^2/Hz.
std::vector<double> model_density(const NoiseModel& noise, std::span<const double> frequency_hz);

/// A pick-up line: a frequency that stands out of the noise around it.
struct PickUpLine {
  Estimate frequency_hz;
  double amplitude_v = 0;  ///< peak value of the sine
  double excess_db = 0;    ///< of its density over the median density around it
};

/// Lines of a Welch spectrum (Hann window), in order of frequency. A line is a local peak that stands, alone,
/// over the density on both sides of it by more than chance gives once in a hundred spectra without lines, be
/// the noise white or coloured. Lines within four bins of either end, and peaks broader than the window's
/// own, are not told from colour. With 20 segments or more, a line of three times the density around it is
/// found. Frequency from the ratio of the two highest bins (interpolation for the Hann window, T. Grandke,
/// IEEE Trans. IM-32 (1983) 350); amplitude from the area of the line over the noise. Fewer than 16 bins:
/// none.
std::vector<PickUpLine> find_pick_up_lines(const PowerSpectrum& spectrum);

}  // namespace firstedge
