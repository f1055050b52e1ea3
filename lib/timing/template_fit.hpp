// Template fit: height, time and baseline fitted together, weighted by the measured noise covariance.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse.hpp"
#include "firstedge/core/pulse_template.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/timing/crossing_height.hpp"

#include <memory>
#include <optional>
#include <span>
#include <vector>

namespace firstedge {

struct TemplateFitOptions {
  bool fit_baseline = true;
  double poor_fit_probability = 1e-4;  ///< chi-square probability below which poor_fit is flagged
  bool find_hidden_pulses = true;      ///< look for a second pulse where one does not fit
};

struct TemplateWeights;

/// True if `lobe` is not a pulse of its own but part of the shape of `pulse`: an excursion below three tenths
/// of its height to the other side, or below a twentieth of it to the same side, not further away than the
/// pulse is long. A filter's ringing before a pulse and an undershoot after it look like this.
bool is_part_of(const Pulse& lobe, const Pulse& pulse);

/// A template made ready for a channel: the weights of its noise are worked out once. Safe to use from many
/// threads.
///
/// Model: sample i is height * shape(t_i - time) + baseline + noise of the model's covariance C; generalised
/// least squares by Gauss-Newton (see fit_pulse), which at this noise is the maximum of the likelihood and
/// reaches the Cramer-Rao bound (S. Kay, Estimation Theory (1993), 3.9 and 7.9; sections from memory). The
/// start is where the leading edge crosses the template's reference fraction of the largest sample, or, if
/// the fit from there fails or is poor, the whole sample around it at which the template explains most.
///
/// Samples used: the template's support around the pulse (less up to two samples at its ends), clipped to the
/// record, without samples that are clipped or not finite, and without those beside a clipped stretch that
/// might as well be clipped (TemplateTrace). What the samples left out do to the noise of the others is
/// counted exactly (MissingSamples).
///
/// Overlapping pulses: pulses whose supports meet have one fit for all times, all heights and one baseline
/// (fit_group), 16 at most; in a longer chain the ones before are taken away as they were fitted. A fit whose
/// chi-square has a probability below 1 % is tried with one pulse more, which is kept if chi-square falls by
/// least_hidden_significance squared, what is left is no poor fit, and the pulse is over 3 standard
/// deviations of the noise, over a twentieth of its neighbours, and not nearer to them than least_separation:
/// so near, a pulse of another shape looks the same, and the one pulse is flagged unresolved instead. Single
/// pulses are split by chance in some 5e-7 of cases (1 of 2 million at 6 and 60 times the noise, white and
/// coloured).
///
/// The stamp: time_s is that of the template's time zero; uncertainty_s comes from the fit's covariance (all
/// correlations of times, heights and baseline in it) with what the noise model does not hold: the template's
/// own uncertainty, quantisation, and the shared TemplateShape::reference_uncertainty_s. height_v is that of
/// the peak, slew_v_per_s that of the fitted shape at the reference crossing, baseline_v the trace's level
/// plus the fitted rest, goodness chi-square over degrees of freedom with the template's uncertainty counted
/// in (NaN when the noise is not known; of overlapping pulses that of their common fit), bound_s that of the
/// pulse alone. With a noise model of variance 0 the fit is unweighted and the scatter of the residuals
/// stands for the noise.
///
/// Flags: clipped, edge_of_record (the support is cut by the record's ends), piled_up (another pulse reaches
/// into the support), unresolved (two are nearer than least_separation transition durations or would have to
/// be, or the common fit found no end and each stands as fitted alone), poor_fit, low_signal (explained
/// height below least_significance standard deviations, so that the linear uncertainty does not hold),
/// not_timed (no convergence, too few samples left, the trace's interval off the noise model's by more than
/// 1e-5 of itself), undersampled (a transition duration below fewest_transition_samples), no_baseline as the
/// trace has it, and unsteady_baseline as the search has it, but of a fitted baseline only where the level in
/// front of the pulse does not stand still (resting_level.hpp).
///
/// Errors: on noiseless samples of the template's own shape the time is off by less than 0.1 ps at 5 GS/s,
/// 0.9 ns edge and 8 points a sample (test); with noise see the flags. Overlapping pulses (0.9 ns edge, 3 ns
/// decay, 60 times the noise, heights 1:1, 3:1, 1:3): spread within 5 % of the joint bound, no bias, 68.3 %
/// of true times within one uncertainty down to a separation of one transition duration and a little below;
/// from 0.7 down all are flagged but pairs of 3:1 at 0.5, two in three of which look like one pulse and say
/// nothing (tests/acceptance/limits). Clipped pulses: the same up to 4 times the limit. Properties: (1)
/// moving the trace by whole samples moves the time by as much, to rounding; (2) scaling trace and noise
/// leaves the time; (3) turning the polarity leaves the time; (4) an offset goes to baseline_v and leaves the
/// time when the baseline is fitted.
class TemplateFit {
 public:
  /// Below this height over its own standard uncertainty the stated uncertainty of the time does not hold.
  static constexpr double least_significance = 10;

  /// With fewer samples between its 10 % and 90 % instants a template built from data misses detail
  /// (simulation: at 1.5 samples spread and coverage are as stated, at 1 sample the spread is 1.4 times the
  /// bound).
  static constexpr double fewest_transition_samples = 1.5;

  /// Nearer to one another than this many transition durations, pulses are flagged unresolved.
  static constexpr double least_separation = 0.8;

  /// By so many standard deviations a hidden pulse must stand out of the residuals.
  static constexpr double least_hidden_significance = 5.5;

  /// Throws Error for a template that TemplateShape refuses or that does not fit the noise's interval.
  TemplateFit(const PulseTemplate& pulse_template, const NoiseModel& noise,
              const TemplateFitOptions& options = {});

  /// Times a pulse that no other one of the search stands beside; the first of two if it is two.
  Stamp operator()(const ConditionedTrace& trace, const Pulse& pulse) const;
  /// Times all pulses of a trace, in order of time: one Stamp each, in the same order, and after them one for
  /// each further pulse that was found, in order of time. The stamp of a pulse of the search that is two is
  /// that of the first. One that is_part_of() another is not timed (flags not_timed and piled_up) and does
  /// not count beside the others.
  std::vector<Stamp> operator()(const ConditionedTrace& trace, std::span<const Pulse> pulses) const;

  /// The height of a pulse that is alone in its trace, and how it hangs on the samples of the trace that are
  /// not clipped: what constant_fraction() needs for a clipped pulse. The template's own uncertainty and
  /// quantisation are not in the weights. Nothing if it is not timed or another pulse was found in it.
  std::optional<PeakHeight> height(const ConditionedTrace& trace, const Pulse& pulse) const;

 private:
  class TraceFit;
  std::shared_ptr<const TemplateWeights> weights_;
};

}  // namespace firstedge
