#include "firstedge/timing/constant_fraction.hpp"

#include "firstedge/timing/crossing_edge.hpp"

namespace firstedge {

Stamp constant_fraction(const ConditionedTrace& trace, const Pulse& pulse, const NoiseModel& noise,
                        const ConstantFractionOptions& options) {
  const PulseEdge edge(trace, pulse, noise, {options.interpolation, options.edge_samples});
  const auto crossing = edge.crossing(options.fraction * edge.height().value_v);
  if (!crossing) return edge.untimed();
  SampleWeights quantity = crossing->value;
  quantity.add(edge.height().weights, -options.fraction);
  return edge.timed(*crossing, quantity);
}

}  // namespace firstedge
