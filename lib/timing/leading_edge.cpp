#include "firstedge/timing/leading_edge.hpp"

#include "firstedge/timing/crossing_edge.hpp"

namespace firstedge {

Stamp leading_edge(const ConditionedTrace& trace, const Pulse& pulse, const NoiseModel& noise,
                   const LeadingEdgeOptions& options) {
  const PulseEdge edge(trace, pulse, noise, {options.interpolation, options.edge_samples});
  const double level_v =
      options.threshold_v.value_or(options.threshold_over_noise * edge.noise().deviation_v());
  const auto crossing = edge.crossing(level_v);
  return crossing ? edge.timed(*crossing, edge.on_trace(crossing->value)) : edge.untimed();
}

}  // namespace firstedge
