// Delayed fraction: the delay-and-subtract form of the constant fraction, as discriminators in electronics do
// it.
#pragma once

#include "firstedge/core/noise_model.hpp"
#include "firstedge/core/pulse.hpp"
#include "firstedge/core/stamp.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/signal/interpolation.hpp"

#include <cstddef>

namespace firstedge {

/// g(t) = fraction * s(t) - s(t - delay); the stamp is its zero crossing after the start of the pulse.
struct DelayedFractionOptions {
  double fraction = 0.3;
  double delay_s = 0.8e-9;
  Interpolation interpolation = Interpolation::quintic;
  std::size_t edge_samples = 0;
};

Stamp delayed_fraction(const ConditionedTrace& trace, const Pulse& pulse, const NoiseModel& noise,
                       const DelayedFractionOptions& options);

}  // namespace firstedge
