#include "firstedge/timing/constant_fraction.hpp"

#include "firstedge/timing/crossing_edge.hpp"

namespace firstedge {
namespace {

Stamp stamp_of(const PulseEdge& edge, double fraction) {
  const auto crossing = edge.crossing(fraction * edge.height_v());
  if (!crossing) return edge.untimed();
  SampleWeights quantity = edge.on_trace(crossing->value);
  quantity.add(edge.height_on_trace(), -fraction);
  return edge.timed(*crossing, quantity);
}

}  // namespace

Stamp constant_fraction(const ConditionedTrace& trace, const Pulse& pulse, const ChannelNoise& noise,
                        const ConstantFractionOptions& options) {
  return stamp_of(PulseEdge(trace, pulse, noise, {options.interpolation, options.edge_samples}),
                  options.fraction);
}

Stamp constant_fraction(const ConditionedTrace& trace, const Pulse& pulse, const ChannelNoise& noise,
                        const PeakHeight& height, const ConstantFractionOptions& options) {
  const PulseEdge edge(trace, pulse, noise, {options.interpolation, options.edge_samples});
  return stamp_of(edge.with_height(height), options.fraction);
}

}  // namespace firstedge
