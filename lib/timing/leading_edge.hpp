// Leading edge: the time at which the pulse first crosses a fixed level.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/signal/interpolation.hpp"

#include <cstddef>
#include <optional>

namespace firstedge {

struct LeadingEdgeOptions {
  std::optional<double> threshold_v;  ///< over the baseline, positive for either polarity
  double threshold_over_noise = 8;    ///< in standard deviations of a sample, where threshold_v is not given
  Interpolation interpolation = Interpolation::cubic;
  std::size_t edge_samples = 0;
};

/// Stamps the crossing of a fixed level on the leading edge.
Stamp leading_edge(const ConditionedTrace& trace, const Pulse& pulse, const NoiseModel& noise,
                   const LeadingEdgeOptions& options);

}  // namespace firstedge
