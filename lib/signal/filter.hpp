// Filters that take noise away and never move a time.
#pragma once

#include "firstedge/core/settings.hpp"

#include <optional>
#include <string>
#include <vector>

namespace firstedge {

struct FilterOptions {
  enum class Kind { butterworth, bessel, moving_average, gaussian, notch };
  enum class Band { low_pass, high_pass, band_pass };
  Kind kind = Kind::butterworth;
  Band band = Band::low_pass;
  int order = 4;
  double low_hz = 0;    ///< lower corner (high_pass, band_pass), or the notch's centre
  double high_hz = 0;   ///< upper corner (low_pass, band_pass)
  double width_s = 0;   ///< length of the moving average, standard deviation of the Gaussian
  double quality = 30;  ///< notch: centre over width
  bool zero_phase =
      true;  ///< forward and backward; false: causal, with the group delay taken out of the times
};

/// Setup group: {"kind": "butterworth", "band": "low_pass", "order": 4, "cut": "400 MHz" | ["1 MHz", "400
/// MHz"], "phase": "zero" | "causal"}; {"kind": "moving_average" | "gaussian", "width": "0.4 ns"};
/// {"kind": "notch", "centre": "98 MHz", "quality": 30}.
FilterOptions filter_options(const Settings& settings);

/// The filtered samples and the delay that is to be taken out of their times (0 for zero-phase filters).
struct Filtered {
  std::vector<double> volts;
  double delay_s = 0;
};

/// Filters volts (shape (samples,)) taken interval_s apart. Throws Error for corners beyond half the sampling
/// rate.
Filtered apply_filter(std::vector<double> volts, double interval_s, const FilterOptions& options);

}  // namespace firstedge
