// Building a pulse template: many pulses aligned onto a grid finer than the sample interval.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse.hpp"
#include "firstedge/core/pulse_template.hpp"
#include "firstedge/signal/conditioned_trace.hpp"

#include <span>
#include <vector>

namespace firstedge {

struct TemplateBuildingOptions {
  int points_per_sample = 8;
  int rounds = 6;  ///< of aligning and averaging
  double reference_fraction = 0.5;
  double lowest_height_over_noise = 10;
  std::size_t fewest_pulses = 20;
};

/// One pulse and the trace it stands in.
struct PulseInTrace {
  const ConditionedTrace* trace = nullptr;
  Pulse pulse;
};

/// The pulses of one trace.
struct PulsesOfTrace {
  const ConditionedTrace* trace = nullptr;
  std::vector<Pulse> pulses;
};

/// For pulses in order and one trace after the other.
std::vector<PulsesOfTrace> by_trace(std::span<const PulseInTrace> pulses);

/// Aligns unflagged pulses by height, time and baseline, round after round. Give all pulses of a trace, in
/// order and one trace after the other, also those that cannot serve: they tell where the others end.
///
/// Method: the first round aligns by the crossing of reference_fraction, the next ones by the template fit
/// itself with the template of the round before. Each round is one least-squares fit of a smooth spline to
/// all samples of all pulses at once (TemplateRegression), each weighed by its height, so that no sample is
/// moved to the grid. The result has peak 1 and time zero where its leading edge crosses reference_fraction.
///
/// Pulses used: to the side that most of the heights go to, no flag but low_signal, height at least
/// lowest_height_over_noise standard deviations of the noise and a quarter of what most have, clear of the
/// pulses before and after in their trace (but for what is_part_of() them), and (from the second round) timed
/// by the fit with a chi-square within 5 robust standard deviations of the median. Error if fewer than
/// fewest_pulses are left.
///
/// Support: from where the mean shape leaves the baseline by more than 4 of its standard uncertainties (and
/// 0.2 % of the height) to where it is back for good: for two transition durations and at least 8 samples;
/// with a margin of one transition duration, at least 4 samples, on both sides, as far as nine tenths of the
/// pulses have samples.
///
/// shape_uncertainty comes from the scatter of the samples around the shape; it is the noise over the root of
/// the number of pulses, times a factor below 1 for the smoothing. With 1,000 pulses of height 60 over the
/// noise it is 0.05 % of the height, and the time of the reference instant is uncertain by it over the slope
/// (TemplateShape::reference_uncertainty_s).
///
/// Where it fails: pulses that all stand at the same place between two samples give no shape in between but
/// what is smooth; the uncertainty there is larger and a fit at another place may be off by the missing
/// detail. Pulses whose shapes truly differ give their mean. Same input, same bits.
///
/// Throws Error for options out of range (1 to 64 points a sample, 1 to 100 rounds, a fraction between 0 and
/// 1) and when the pulses give no shape.
PulseTemplate build_template(std::span<const PulseInTrace> pulses, const NoiseModel& noise,
                             const TemplateBuildingOptions& options = {});

}  // namespace firstedge
