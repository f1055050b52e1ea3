// Conditioning: from a recorded Trace to a ConditionedTrace, by the Setup of its channel.
#pragma once

#include "firstedge/core/settings.hpp"
#include "firstedge/core/trace.hpp"
#include "firstedge/signal/baseline.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/signal/filter.hpp"

#include <vector>

namespace firstedge {

/// Baseline and filters of one channel.
struct ConditioningOptions {
  BaselineOptions baseline;
  std::vector<FilterOptions> filters;
};

/// Volts, filters in order, then the baseline: measured after the filters, so that what is taken away is what
/// the timing sees. A filter never moves a time: causal ones have their group delay taken out of
/// first_sample_s. Accuracy: the arithmetic is double throughout; an empty trace gives an empty
/// ConditionedTrace flagged no_baseline.
ConditionedTrace condition(const Trace& trace, const ConditioningOptions& options);

}  // namespace firstedge
