// ConditionedTrace: a trace in volts with its baseline taken away and its filters applied, ready to be timed.
#pragma once

#include "firstedge/core/estimate.hpp"
#include "firstedge/core/flags.hpp"
#include "firstedge/core/trace.hpp"

#include <limits>
#include <vector>

namespace firstedge {

/// What the timing room works on. volts has shape (samples,), all finite; the natural sign of the signal is
/// kept.
struct ConditionedTrace {
  std::vector<double> volts;
  double interval_s = 0;
  double first_sample_s = 0;
  Estimate baseline_v;                ///< the level taken away (at baseline_middle_s) and its uncertainty
  double baseline_middle_s = 0;       ///< middle of its window
  double baseline_slope_v_per_s = 0;  ///< taken away too, for a sloped baseline
  double baseline_slope_uncertainty_v_per_s = 0;  ///< with it, the level is less sure away from the middle
  double baseline_rms_v = 0;                      ///< standard deviation of the samples around the baseline
  SampleRange baseline_window;                    ///< the stretch it was taken from
  double lowest_v =
      -std::numeric_limits<double>::infinity();  ///< the digitizer's limits on the scale of volts
  double highest_v = std::numeric_limits<double>::infinity();
  double step_v = 0;  ///< one count in volts, seen from the values if there are no counts; 0 if not quantised
  std::vector<SampleRange> clipped;  ///< runs of clipped samples, found on the counts before any filter
  FlagSet flags;  ///< no_baseline; piled_up when a pulse stood in a stated baseline window; coarse_counts

  double time_s(double sample) const { return first_sample_s + sample * interval_s; }
};

}  // namespace firstedge
