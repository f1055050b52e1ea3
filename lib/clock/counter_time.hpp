// Counter readings as seconds of the counter's nominal rate, in two parts so that nothing is lost on long
// runs.
#pragma once

#include "firstedge/core/second_edge.hpp"

#include <cstdint>

namespace firstedge {

/// Seconds by the nominal rate since another reading: whole ones, and a rest in [0, 1).
struct CounterTime {
  std::int64_t seconds = 0;
  double rest_s = 0;
  /// As one double: loses what is below 1e-16 of it.
  double approximate_s() const { return static_cast<double>(seconds) + rest_s; }
};

/// Time by the counter from `origin` to `reading`, exact to 3e-16 s as long as the rate itself is (the rate
/// is taken as the double given). rate_hz: ticks a second, positive. Throws Error for readings beyond +-2^62
/// ticks and for times beyond 2^53 s.
CounterTime counter_time(const CounterReading& reading, const CounterReading& origin, double rate_hz);

/// later - earlier, rounded once.
double interval_s(const CounterTime& later, const CounterTime& earlier);

}  // namespace firstedge
