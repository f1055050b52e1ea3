// Constant fraction: the time at which the pulse crosses a fraction of its own height.
#pragma once

#include "firstedge/core/pulse.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/signal/interpolation.hpp"
#include "firstedge/timing/channel_noise.hpp"
#include "firstedge/timing/crossing_height.hpp"

#include <cstddef>

namespace firstedge {

struct ConstantFractionOptions {
  /// Of the height, between 0 and 1. The least spread in white noise is where the edge is steepest, near a
  /// half; lower fractions help where the shape of the top varies from pulse to pulse.
  double fraction = 0.5;
  Interpolation interpolation = Interpolation::quintic;
  /// 0 interpolates: the crossing is that of the samples themselves. An even number from 6 on fits a quintic
  /// to that many samples around the crossing: 1.8 times the samples of the edge take 15 % off the spread and
  /// add a shift of up to 2e-3 of the edge's duration, the same for all pulses of one shape.
  std::size_t edge_samples = 0;
};

/// Stamps the crossing of fraction * height on the leading edge of the pulse, either polarity. The height is
/// the peak of a smooth curve (crossing_height.hpp), the crossing that of an interpolation
/// (signal/interpolation.hpp) or a fit, where the edge first rises through the level next to its half height.
/// A pulse whose edge does not cross the level is flagged not_timed; nothing is thrown.
///
/// Uncertainty: the noise covariance (noise.interval_s must be the trace's) through the exact weights of the
/// crossing and of the height together, with the baseline's uncertainty, quantisation (crossing_weights.hpp)
/// and the error of the curve, over the slope. It holds 68.3 % +- 1.5 % of the true times for fractions from
/// 0.3 to 0.5 and heights of 10 to 200 times the noise (tests/unit/timing). Below 10 times, or for a level
/// within 2 noise deviations of baseline or top, the stamp is flagged low_signal.
///
/// Accuracy, smooth edges without noise: within 2 ps at four samples an edge of 0.9 ns and 0.1 ps at twenty,
/// shift with the phase of the samples below 2 ps peak to peak at 4.5 samples (the cubic: 3 ps), none with
/// height. Spread in white noise at a signal-to-noise of 60, 4.5 samples an edge, over the Cramer-Rao bound
/// of the pulse: 2.15 at 0.3, 1.95 at 0.4, 1.90 at 0.5, with the cubic 3 % less, with edge_samples 8 and
/// 0.5 1.6.
///
/// Fails for: edges with fewer than three samples (flagged undersampled), tops that change shape, baselines
/// that are off (a shift of (1 - fraction) * offset / slope).
///
/// Source of the method: D. A. Gedcke, W. J. McDonald, Nucl. Instr. Meth. 58 (1968) 253 (from memory).
Stamp constant_fraction(const ConditionedTrace& trace, const Pulse& pulse, const ChannelNoise& noise,
                        const ConstantFractionOptions& options);

/// The same with a height that was found elsewhere, its weights those of samples of the trace: that of
/// TemplateFit::height() for a clipped pulse, which without it is not timed (its top is not known, and a
/// fraction of the limit would walk like a leading edge). Timed where the level is below the limit and two
/// samples that are not clipped stand around it. Uncertainty and flags as above, the height's weights with
/// their correlation in it.
Stamp constant_fraction(const ConditionedTrace& trace, const Pulse& pulse, const ChannelNoise& noise,
                        const PeakHeight& height, const ConstantFractionOptions& options);

}  // namespace firstedge
