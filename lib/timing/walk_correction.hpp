// Walk correction: how far a leading edge is early or late for pulses of each height, as it was learnt.
#pragma once

#include "firstedge/timing/falling_curve.hpp"

#include <cstddef>

namespace firstedge {

/// What tells a pulse's walk. All three grow with the height, and the walk falls with all three.
enum class WalkMeasure {
  height,               ///< V; not for clipped pulses whose height is not known
  time_over_threshold,  ///< s, from the crossing of the level to the return through it; also for clipped
                        ///< pulses
  slew,                 ///< V/s at the crossing; what noise does to it comes back multiplied in the time
};

/// A walk correction, as it is stored: a plain struct. Made by learn_walk() (walk_learning.hpp).
struct WalkCorrection {
  WalkMeasure measure = WalkMeasure::height;
  double threshold_v = 0;        ///< the level whose crossing it corrects
  std::size_t edge_samples = 0;  ///< how many samples the slew is taken from
  std::size_t tail_samples = 0;  ///< how many samples the return through the level is taken from
  FallingCurve walk;             ///< seconds later than the reference, by the measure (V, s or V/s)
};

}  // namespace firstedge
