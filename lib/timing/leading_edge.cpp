#include "firstedge/timing/leading_edge.hpp"

#include "firstedge/timing/crossing_edge.hpp"
#include "firstedge/timing/walk_measure.hpp"

#include <cmath>

namespace firstedge {
namespace {

double level_of(const PulseEdge& edge, const LeadingEdgeOptions& options) {
  return options.threshold_v.value_or(options.threshold_over_noise * edge.noise().deviation_v());
}

}  // namespace

Stamp leading_edge(const ConditionedTrace& trace, const Pulse& pulse, const ChannelNoise& noise,
                   const LeadingEdgeOptions& options) {
  const PulseEdge edge(trace, pulse, noise, {options.interpolation, options.edge_samples});
  const auto crossing = edge.crossing(level_of(edge, options));
  return crossing ? edge.timed(*crossing, edge.on_trace(crossing->value)) : edge.untimed();
}

Stamp leading_edge(const ConditionedTrace& trace, const Pulse& pulse, const ChannelNoise& noise,
                   const LeadingEdgeOptions& options, const WalkCorrection& walk,
                   const std::optional<PeakHeight>& height) {
  PulseEdge edge(trace, pulse, noise, {options.interpolation, options.edge_samples});
  if (height) edge = edge.with_height(*height);
  const double level_v = level_of(edge, options);
  const auto crossing = edge.crossing(level_v);
  if (!crossing) return edge.untimed();
  const auto measured = walk_measure(edge, *crossing, level_v, trace.interval_s, walk.measure,
                                     walk.edge_samples, walk.tail_samples);
  if (!measured) return edge.untimed();
  const CurveValue late = value_at(walk.walk, measured->value);
  if (!std::isfinite(late.value)) return edge.untimed();
  // The time is position - walk(ln measure): noise moves both, and with the same samples.
  SampleWeights quantity = edge.on_trace(crossing->value);
  quantity.add(measured->on_trace,
               crossing->slope_per_sample * late.per_log / trace.interval_s / measured->value);
  Stamp stamp = edge.timed(*crossing, quantity);
  stamp.time_s -= late.value;
  stamp.uncertainty_s = std::hypot(stamp.uncertainty_s, late.uncertainty);
  return stamp;
}

}  // namespace firstedge
