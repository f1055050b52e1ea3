// Filters that take noise away and never move a time.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse_template.hpp"
#include "firstedge/core/settings.hpp"

#include <memory>
#include <span>
#include <string>
#include <variant>
#include <vector>

namespace firstedge {

struct FilterOptions {
  enum class Kind { butterworth, bessel, moving_average, gaussian, notch, matched };
  enum class Band { low_pass, high_pass, band_pass };
  Kind kind = Kind::butterworth;
  Band band = Band::low_pass;
  int order = 4;        ///< of the low-pass prototype, 1 to 12; a band-pass has twice as many poles
  double low_hz = 0;    ///< lower corner (high_pass, band_pass), or the notch's centre
  double high_hz = 0;   ///< upper corner (low_pass, band_pass)
  double width_s = 0;   ///< length of the moving average, standard deviation of the Gaussian
  double quality = 30;  ///< notch: centre over width at half power
  /// Forward and backward (true), or causal with the group delay taken out of the times. The symmetric
  /// kernels (moving average, Gaussian, matched) have no phase in either case.
  bool zero_phase = true;
  /// Kind::matched only: the pulse shape and the noise of the channel.
  std::shared_ptr<const PulseTemplate> pulse_template;
  std::shared_ptr<const NoiseModel> noise;
};

/// Setup group: {"kind": "butterworth" | "bessel", "band": "low_pass", "order": 4, "cut": "400 MHz" | ["1
/// MHz", "400 MHz"], "phase": "zero" | "causal"}; {"kind": "moving_average" | "gaussian", "width": "0.4 ns"};
/// {"kind": "notch", "centre": "98 MHz", "quality": 30, "phase": "zero" | "causal"}; {"kind": "matched"},
/// whose template and noise the caller fills in.
FilterOptions filter_options(const Settings& settings);

/// The filtered samples and the delay that is to be taken out of their times (0 for zero-phase filters).
struct Filtered {
  std::vector<double> volts;
  double delay_s = 0;
};

/// One second-order section: y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2].
struct FilterSection {
  double b0 = 1, b1 = 0, b2 = 0, a1 = 0, a2 = 0;
};

/// Symmetric or shaped weights: y[n] = sum over k of weights[k] x[n + k - origin].
struct FilterKernel {
  std::vector<double> weights;
  std::size_t origin = 0;
};

/// A filter designed once for a channel and used on many traces, from any number of threads.
///
/// Designs. Butterworth and Bessel: bilinear transform with the corners prewarped; the corner is where the
/// design is 3 dB down (for the Bessel too: scipy.signal.bessel with norm='mag'). Zero phase squares the
/// response: 6 dB down at the corner. Notch: as scipy.signal.iirnotch. Moving average: the mean over exactly
/// width_s, end samples counted by the part covered. Gaussian: sampled out to six standard deviations.
/// Matched: the weights that give a pulse of the template's shape the largest height over noise of that
/// autocovariance (C^-1 s, North 1943; Kay, Detection Theory (1998) 4.3), scaled to keep the pulse's height.
///
/// Times. Zero phase and kernels: a symmetric pulse stays where it is (< 0.5 ps, held by a test), the output
/// of a matched filter peaks where the pulse peaks. Causal low-pass and notch: the delay at 0 Hz is taken
/// out, so that the centroid of a pulse stays where it is exactly; its edges lean if the corner is not well
/// over the pulse's band (Bessel least). Causal high-pass: nothing is taken out; its undershoot makes a
/// Gaussian pulse of standard deviation s peak earlier by 2 pi low_hz s^2 / sin(pi/(2 order))
/// (Butterworth): 0.1 ps for s = 0.5 ns and 50 kHz at order 2. Causal band-pass with high_hz >= 4 low_hz: the
/// delay at 0 Hz of the low-pass of corner high_hz - low_hz, so that a pulse is moved by no more than a
/// low-pass and a high-pass would; narrower: the delay at the centre sqrt(low_hz * high_hz), which keeps the
/// envelope of a burst.
///
/// Ends. The trace is continued by its point reflection at the end sample, over ends() samples or as many as
/// there are, and sections start settled on the first continued value: by default as in
/// scipy.signal.sosfiltfilt. What lies within the filter's memory of an end is less exact.
class Filter {
 public:
  /// Throws Error for corners that are not between 0 and half the sampling rate in rising order, orders
  /// beyond 1 to 12, widths that are not positive or cover more than a hundred thousand samples, quality <=
  /// 0, and a matched filter without template or noise.
  Filter(const FilterOptions& options, double interval_s);

  /// Filters volts (shape (samples,), finite) taken interval_s() apart. Empty stays empty.
  Filtered operator()(const std::vector<double>& volts) const;

  /// The same of several traces of one length, each with the bits that it has alone; recursive filters take
  /// them side by side, which is some ten times as fast.
  std::vector<Filtered> operator()(std::span<const std::vector<double>> traces) const;

  /// Amplitude gain at a frequency, of the whole operation (zero phase: squared design). The noise density
  /// after the filter is gain^2 times that before.
  double gain(double frequency_hz) const;
  double delay_s() const { return delay_s_; }
  double interval_s() const { return interval_s_; }
  /// Samples by which an end is continued.
  std::size_t ends() const { return ends_; }

 private:
  double interval_s_ = 0;
  double delay_s_ = 0;
  bool twice_ = false;  ///< forward and backward
  std::size_t ends_ = 0;
  std::variant<std::vector<FilterSection>, FilterKernel> design_;
};

/// A filter for one use: Filter(options, interval_s)(volts).
Filtered apply_filter(const std::vector<double>& volts, double interval_s, const FilterOptions& options);

}  // namespace firstedge
