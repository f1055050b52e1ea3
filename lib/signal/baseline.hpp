// Baseline: the level a channel rests at when there is no pulse, and how well it is known.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/core/flags.hpp"
#include "firstedge/core/settings.hpp"
#include "firstedge/core/trace.hpp"

#include <optional>
#include <span>
#include <utility>

namespace firstedge {

struct BaselineOptions {
  enum class Method { mean, median, mode, line };
  Method method = Method::mean;
  /// Stretch to take it from, in seconds from the trigger; nothing: found automatically, safe against pulses.
  std::optional<std::pair<double, double>> window_s;
};

/// Setup group "baseline": {"method": "mean" | "median" | "mode" | "line", "window": ["-20 ns", "-2 ns"] or
/// absent}.
BaselineOptions baseline_options(const Settings& settings);

struct Baseline {
  Estimate level_v;          ///< at the middle of the window
  double slope_v_per_s = 0;  ///< 0 but for Method::line
  double middle_s = 0;       ///< middle of the window
  double rms_v = 0;          ///< standard deviation of the samples around it
  SampleRange window;
  FlagSet flags;  ///< no_baseline when no undisturbed stretch of enough samples was found
};

/// Measures it on volts (shape (samples,)) that start at first_sample_s and are interval_s apart. The
/// uncertainty of the level counts the correlation of neighbouring samples.
Baseline measure_baseline(std::span<const double> volts, double interval_s, double first_sample_s,
                          const BaselineOptions& options);

}  // namespace firstedge
