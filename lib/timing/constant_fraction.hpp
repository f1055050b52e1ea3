// Constant fraction: the time at which the pulse crosses a fraction of its own height.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/signal/interpolation.hpp"

#include <cstddef>

namespace firstedge {

struct ConstantFractionOptions {
  double fraction = 0.4;
  Interpolation interpolation = Interpolation::cubic;
  std::size_t edge_samples = 0;
};

/// Stamps the crossing of fraction * height on the leading edge.
Stamp constant_fraction(const ConditionedTrace& trace, const Pulse& pulse, const NoiseModel& noise,
                        const ConstantFractionOptions& options);

}  // namespace firstedge
