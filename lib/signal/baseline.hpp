// Baseline: the level a channel rests at when there is no pulse, and how well it is known.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/core/flags.hpp"
#include "firstedge/core/settings.hpp"
#include "firstedge/core/trace.hpp"

#include <optional>
#include <span>
#include <utility>
#include <vector>

namespace firstedge {

struct BaselineOptions {
  /// mean: the smallest spread. median: not moved by a few disturbed samples, 1.25 times the spread of the
  /// mean. mode: the state level of IEEE Std 181 (mode of the histogram, here smoothed by one standard
  /// deviation so that it does not depend on bins), not moved by up to a third of disturbed samples, 1.25
  /// times the spread. line: mean and slope, for a baseline that drifts within a record.
  enum class Method { mean, median, mode, line };
  Method method = Method::mean;
  /// Stretch to take it from, in seconds from the trigger; nothing: found automatically, safe against pulses.
  std::optional<std::pair<double, double>> window_s;
  /// Pick-up lines (Hz) that are fitted in the baseline's window of each record and taken away over all of it
  /// (line_removal.hpp), before the level is measured. Left alone in a record without a sound window.
  std::vector<double> lines_hz;
};

/// Setup group "baseline": {"method": "mean" | "median" | "mode" | "line", "window": ["-20 ns", "-2 ns"] or
/// absent, "remove_lines": ["98 MHz"] or absent}.
BaselineOptions baseline_options(const Settings& settings);

struct Baseline {
  Estimate level_v;                      ///< at the middle of the window
  double slope_v_per_s = 0;              ///< 0 but for Method::line
  double slope_uncertainty_v_per_s = 0;  ///< 0 but for Method::line
  double middle_s = 0;                   ///< middle of the window
  double rms_v = 0;                      ///< standard deviation of the samples around it
  SampleRange window;                    ///< the stretch it was taken from
  std::size_t samples_used = 0;          ///< of the window; fewer than its size when a pulse stood in it
  /// no_baseline: no undisturbed stretch of at least 8 samples was found, the level is a best guess (the most
  /// common level) and its uncertainty the spread about it. piled_up: a pulse stands in the stated window; it
  /// was left out.
  FlagSet flags;
};

/// What a recording says of its samples beside their values.
struct SampleFacts {
  double step_v = 0;                     ///< one count in volts, 0 when not quantised
  std::span<const SampleRange> clipped;  ///< samples that are not to be believed, in order
};

/// Measures the baseline on volts (shape (samples,)) that start at first_sample_s and are interval_s apart.
///
/// Automatic window: the quiet stretch from the start of the record to the foot of the first pulse, if it has
/// 16 samples or more; otherwise the longest quiet stretch. Pulses of either polarity are told by standing
/// six standard deviations away from what came before them. A pulse as slow as its quiet stretch is long
/// cannot be told from drift.
///
/// Uncertainty: the variance of a mean of correlated samples (variance_of_mean), for the median and the mode
/// that of their influence functions; where the samples drift by more than the noise explains, the drift from
/// the middle of the window to its end (but for `line`, which takes it away); and what rounding to counts
/// leaves. In simulation, the standard deviation of (level - truth)/uncertainty is
/// 0.9 to 1.25 for noise with correlation times up to a tenth of the window.
///
/// Samples that are not finite are left out. No samples: level 0, flag no_baseline.
Baseline measure_baseline(std::span<const double> volts, double interval_s, double first_sample_s,
                          const BaselineOptions& options, const SampleFacts& facts = {});

/// All stretches of at least 8 samples without a pulse, in order: what the noise of a channel is learnt from.
std::vector<SampleRange> quiet_ranges(std::span<const double> volts, const SampleFacts& facts = {});

}  // namespace firstedge
