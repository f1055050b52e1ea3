// Leading edge: the time at which the pulse first crosses a fixed level.
#pragma once

#include "firstedge/core/pulse.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/signal/interpolation.hpp"
#include "firstedge/timing/channel_noise.hpp"
#include "firstedge/timing/crossing_height.hpp"
#include "firstedge/timing/walk_correction.hpp"

#include <cstddef>
#include <optional>

namespace firstedge {

struct LeadingEdgeOptions {
  std::optional<double> threshold_v;  ///< the level over the baseline, positive for either polarity
  /// The level where threshold_v is not given, in standard deviations of a sample (quantisation included): 8
  /// is out of the noise for good and crossed by every pulse that is not flagged low_signal.
  double threshold_over_noise = 8;
  Interpolation interpolation = Interpolation::quintic;
  std::size_t edge_samples = 0;  ///< as in ConstantFractionOptions
};

/// Stamps the crossing of a fixed level on the leading edge of the pulse. The time walks with the height:
/// later for lower pulses, by rise * level * (1/A1 - 1/A2) for a linear rise; use constant_fraction or a walk
/// correction (below) where heights vary. A pulse that does not reach the level is flagged not_timed; nothing
/// is thrown.
///
/// Uncertainty: as for constant_fraction, without the height: noise over slope. 68.3 % +- 1.5 % of true times
/// for levels from 0.13 to 0.5 of the height at 60 times the noise and for 0.3 to 0.5 from 10 times on; 66 %
/// on the foot of the edge, below 0.1, where the slope changes within the noise. Accuracy without noise as
/// for constant_fraction; a straight edge to 1e-12 of the time.
///
/// Source of the jitter noise/slope: H. Spieler, Semiconductor Detector Systems (2005), ch. 4 (from memory).
Stamp leading_edge(const ConditionedTrace& trace, const Pulse& pulse, const ChannelNoise& noise,
                   const LeadingEdgeOptions& options);

/// The same with its walk taken out: time_s is that of the reference the curve was learnt against
/// (walk_learning.hpp), whatever the height. height: one found elsewhere, for a clipped pulse whose measure
/// is the height. A pulse without the measure is flagged not_timed.
///
/// Uncertainty: through the weights of the crossing and of the measure together, with their correlation, and
/// the uncertainty of the curve. With the height as measure it is that of a constant fraction at the same
/// level; time over threshold and slew bring in the noise of the tail and of the slope. Residual walk over
/// heights 1:20, 60 to 1200 times the noise, 1,000 pulses learnt from: below 5 ps for each measure
/// (tests/unit/timing).
///
/// Fails for pulses whose shape is not that of the pulses learnt from.
Stamp leading_edge(const ConditionedTrace& trace, const Pulse& pulse, const ChannelNoise& noise,
                   const LeadingEdgeOptions& options, const WalkCorrection& walk,
                   const std::optional<PeakHeight>& height = std::nullopt);

}  // namespace firstedge
