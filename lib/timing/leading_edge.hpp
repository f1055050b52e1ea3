// Leading edge: the time at which the pulse first crosses a fixed level.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/signal/interpolation.hpp"

namespace firstedge {

struct LeadingEdgeOptions {
  double threshold_v = 0.02;  ///< over the baseline, positive for either polarity
  Interpolation interpolation = Interpolation::cubic;
};

Stamp leading_edge(const ConditionedTrace& trace, const Pulse& pulse, const NoiseModel& noise,
                   const LeadingEdgeOptions& options);

}  // namespace firstedge
