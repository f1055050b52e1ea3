// What the edges say of a counter, before its noise is known. For counter_clock.cpp.
#pragma once

#include "firstedge/clock/counter_clock.hpp"

namespace firstedge {

struct CounterModel {
  CounterReading origin;
  Instant origin_tai;
  double rate = 0;
  std::vector<std::size_t> edge;
  std::vector<PhaseNode> nodes;  ///< phases in s, without mean rate and jumps
  std::vector<double> jumped_s;
  EdgeAccount account;
  std::vector<CounterSlip> slips;
  bool corrected = false;
};

/// Throws Error as CounterClock::from_edges.
CounterModel counter_model(std::span<const SecondEdge> edges, const LeapSeconds& leap_seconds,
                           const CounterClockOptions& options);

}  // namespace firstedge
