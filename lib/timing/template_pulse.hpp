// Template pulse: the iteration that fits one pulse's samples with a template.
#pragma once

#include "firstedge/timing/template_columns.hpp"

#include <cstddef>
#include <optional>
#include <vector>

namespace firstedge {

/// The samples that a fit may use, positive going. volts[i] is sample first + i of its trace.
struct PulseSamples {
  std::vector<double> volts;
  std::ptrdiff_t first = 0;
  std::vector<bool> left_out;  ///< clipped or not finite (their volts are 0), shape as volts
  bool any_left_out = false;

  std::ptrdiff_t last() const { return first + static_cast<std::ptrdiff_t>(volts.size()); }
};

/// The least-squares solution of one pulse.
struct FittedPulse {
  double time_samples = 0;  ///< of the template's time zero, in samples of the trace
  double height_v = 0;
  double level_v = 0;
  double explained = 0;    ///< see TrialFit
  double information = 0;  ///< see TrialFit
  double heights2_v2 = 0;  ///< squared height that the template's uncertainty is weighed by in chi_square
  double chi_square = 0;   ///< of the residuals, by the covariance of the noise
  std::size_t degrees_of_freedom = 0;
  TimeShares shares;
  bool clipped = false;     ///< the window holds samples left out
  bool cut_before = false;  ///< the window begins before the samples do
  bool cut_after = false;   ///< it ends after them
};

/// Iterates from start_samples. The minimum of chi-square in the time, height and level being solved for at
/// each trial: Gauss-Newton steps, at most half a transition duration (or a sample) long, halved where they
/// do not lower chi-square; it ends when a step is below 1e-6 of the time's uncertainty or 1e-9 samples.
/// Nothing when it does not end within 40 trials, the height is not positive, or fewer than 2 degrees of
/// freedom are left.
std::optional<FittedPulse> fit_pulse(const TemplateColumns& columns, const PulseSamples& samples,
                                     double start_samples);

/// The time within 0.05 samples of a whole sample from first_samples to last_samples at which the template
/// explains most (a matched filter); nothing if it has a positive height at none of them.
std::optional<double> best_whole_sample(const TemplateColumns& columns, const PulseSamples& samples,
                                        double first_samples, double last_samples);

}  // namespace firstedge
