// The timing methods as functions of trace, pulse and noise, for tests that go over all of them.
#pragma once

#include "firstedge/timing/constant_fraction.hpp"
#include "firstedge/timing/delayed_fraction.hpp"
#include "firstedge/timing/leading_edge.hpp"

#include "support/timed_pulses.hpp"

namespace firstedge::test {

inline Method constant(const ConstantFractionOptions& options) {
  return [options](const ConditionedTrace& trace, const Pulse& pulse, const NoiseModel& noise) {
    return constant_fraction(trace, pulse, noise, options);
  };
}
inline Method leading(const LeadingEdgeOptions& options) {
  return [options](const ConditionedTrace& trace, const Pulse& pulse, const NoiseModel& noise) {
    return leading_edge(trace, pulse, noise, options);
  };
}
inline Method delayed(const DelayedFractionOptions& options) {
  return [options](const ConditionedTrace& trace, const Pulse& pulse, const NoiseModel& noise) {
    return delayed_fraction(trace, pulse, noise, options);
  };
}

}  // namespace firstedge::test
