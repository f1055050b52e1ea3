// Walk measure: what is read off a pulse to tell its walk, with how it hangs on the samples.
#pragma once

#include "firstedge/timing/crossing_edge.hpp"
#include "firstedge/timing/walk_correction.hpp"

#include <cstddef>
#include <optional>

namespace firstedge {

/// A measure (V, s or V/s) and, to first order, its weights of the samples of the trace.
struct MeasuredWalk {
  double value = 0;
  SampleWeights on_trace;
};

/// The measure of a pulse whose leading edge crosses the level at `crossing`. Nothing where the samples for
/// it are not all there, or the pulse does not come back through the level.
///
/// slew: of a quartic through edge_samples around the crossing (a cubic's slope hangs on where the samples
/// fell). time_over_threshold: to the root of a parabola through tail_samples around the first return, which
/// noise on a slow tail moves less than the return itself. Both numbers are even and the same for all pulses
/// of a curve, since what a fit smooths away must be the same for all of them. The polynomials are those of
/// crossing_polynomial.hpp.
std::optional<MeasuredWalk> walk_measure(const PulseEdge& edge, const EdgeCrossing& crossing, double level_v,
                                         double interval_s, WalkMeasure measure, std::size_t edge_samples,
                                         std::size_t tail_samples);

}  // namespace firstedge
