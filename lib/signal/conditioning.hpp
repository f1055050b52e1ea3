// Conditioning: from a recorded Trace to a ConditionedTrace, by the Setup of its channel.
#pragma once

#include "firstedge/core/settings.hpp"
#include "firstedge/core/trace.hpp"
#include "firstedge/signal/baseline.hpp"
#include "firstedge/signal/conditioned_trace.hpp"
#include "firstedge/signal/filter.hpp"

#include <span>
#include <vector>

namespace firstedge {

/// Baseline and filters of one channel.
struct ConditioningOptions {
  BaselineOptions baseline;
  std::vector<FilterOptions> filters;
};

/// From the Setup's groups "baseline" (signal/baseline.hpp) and "filters" (signal/filter.hpp).
ConditioningOptions conditioning_options(const Settings& baseline, const std::vector<Settings>& filters);

/// With a smaller standard deviation of the recorded samples than this many counts, their rounding errors
/// hang together and are no noise: a trace is flagged coarse_counts. In simulation, uncertainties hold to 1 %
/// of coverage from 0.58 (a noise of half a count before rounding) on and are a sixth too large at 0.42
/// (tests/acceptance/noise).
inline constexpr double least_noise_counts = 0.5;

/// The conditioning of one channel with its filters designed once; safe to use from many threads.
///
/// Volts, filters in order, then the baseline: measured after the filters, so that what is taken away is what
/// the timing sees. A filter never moves a time: causal ones have their group delay taken out of
/// first_sample_s (and the clipped ranges moved by as many samples). Samples that are not finite (or beyond
/// 1e12 V, which no digitizer records) are bridged by a straight line between their neighbours and listed as
/// clipped; so is every sample at the digitizer's limits, which keeps its value. What rounding to counts
/// leaves in the level is part of baseline_v.uncertainty; it is judged by the noise before the filters, as is
/// the flag coarse_counts.
///
/// Accuracy: the arithmetic is double throughout. An empty trace gives an empty ConditionedTrace flagged
/// no_baseline, and so does a trace without any finite sample, with all volts 0.
class Conditioner {
 public:
  /// Throws Error for filters that cannot be designed at this interval.
  Conditioner(ConditioningOptions options, double interval_s);

  /// A trace with another interval than the one prepared for has its filters designed for it on the spot,
  /// which may throw the same Error.
  ConditionedTrace operator()(const Trace& trace) const;

  /// The same of several traces, each with the bits that it has alone. Where filters make it pay, those of
  /// one length are filtered together.
  std::vector<ConditionedTrace> operator()(std::span<const Trace> traces) const;
  /// How many traces are best given at once; 1 if that makes no difference.
  std::size_t traces_at_once() const;

  double interval_s() const { return interval_s_; }
  const std::vector<Filter>& filters() const { return filters_; }

 private:
  ConditioningOptions options_;
  double interval_s_ = 0;
  std::vector<Filter> filters_;
};

/// Conditioner(options, trace.interval_s)(trace), for one trace; empty traces are never refused.
ConditionedTrace condition(const Trace& trace, const ConditioningOptions& options);

}  // namespace firstedge
