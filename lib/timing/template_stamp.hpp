// Template stamp: from a fitted pulse to a stamp, with all that its uncertainty is made of.
#pragma once

#include "firstedge/timing/channel_noise.hpp"
#include "firstedge/timing/template_fit.hpp"
#include "firstedge/timing/template_pulse.hpp"
#include "firstedge/timing/time_bound.hpp"

namespace firstedge {

/// What a TemplateFit knows of its channel.
struct TemplateWeights {
  TemplateColumns columns;
  TimeBound bound;  ///< in 1 V of white noise when the noise is not known
  double foot_to_peak_samples = 0;
  double reference_slope_per_s = 0, reference_uncertainty_s = 0;  ///< of the template's shape
  ChannelNoise noise;
  TemplateFitOptions options;
};

/// Throws Error for a template that TemplateShape refuses or that does not fit the noise's interval.
TemplateWeights template_weights(const PulseTemplate& pulse_template, const NoiseModel& noise,
                                 const TemplateFitOptions& options);

/// Judges fitted pulses of one trace and writes their stamps, see TemplateFit. Both must outlive it.
class TemplateStamps {
 public:
  TemplateStamps(const TemplateWeights& weights, const ConditionedTrace& trace)
      : weights_(weights), columns_(weights.columns), trace_(trace) {}

  /// All that is known of a pulse before its fit; it carries the flag not_timed. begin: where the pulse
  /// before it ends. unsteady_baseline stays only where a level of its own does not help.
  Stamp untimed(const Pulse& pulse, std::size_t begin) const;
  /// The same of a pulse that only the fit knows of.
  Stamp untimed(int polarity) const;

  /// Standard deviation of a sample.
  double noise_v() const;
  /// Too low for the linear uncertainty of its time.
  bool is_low(const FittedPulse& fitted) const;
  bool is_poor(const FittedPulse& fitted) const;
  /// Of a chi-square at least as large as this one if the pulse is what the fit says; 1 when the noise is not
  /// known.
  double probability(const FittedPulse& fitted) const;
  /// What a residual's mean square is expected to be over that of the noise.
  double expected_goodness(const FittedPulse& fitted) const;

  /// The stamp with time, uncertainty and all that the fit says; takes not_timed off.
  Stamp timed(Stamp stamp, const FittedPulse& fitted) const;

 private:
  double transition() const { return columns_.shape().transition_duration_s() / columns_.interval_s(); }
  double extra_noise_v2() const;
  double scatter(const FittedPulse& fitted) const;
  double noise_scale2(const FittedPulse& fitted) const;
  double uncertainty_s(const FittedPulse& fitted) const;
  double bound_s(const FittedPulse& fitted, double deviation_v) const;

  const TemplateWeights& weights_;
  const TemplateColumns& columns_;
  const ConditionedTrace& trace_;
};

}  // namespace firstedge
