// SecondEdge: a pulse per second as a digitizer's counter saw it.
#pragma once

#include "firstedge/core/instant.hpp"

#include <cstdint>
#include <limits>
#include <optional>

namespace firstedge {

/// A reading of a free-running counter: whole ticks, and a part of a tick in [0, 1) where the time between
/// ticks is known (a stamp on the trace).
struct CounterReading {
  std::int64_t ticks = 0;
  double fraction = 0;
};

/// The edge of one pulse of a receiver or a clock that marks seconds.
struct SecondEdge {
  CounterReading counter;
  /// The second that the pulse marks, where something beside the pulse says so.
  std::optional<Instant> label = std::nullopt;
  /// How late the pulse left after its second, as the receiver itself tells it (the quantisation of its own
  /// clock, 'sawtooth'); NaN where it does not.
  double correction_s = std::numeric_limits<double>::quiet_NaN();
};

}  // namespace firstedge
