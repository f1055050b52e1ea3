// Edges of a pulse per second from the stamps of the channel that records it.
#pragma once

#include "firstedge/clock/leap_seconds.hpp"
#include "firstedge/core/instant.hpp"
#include "firstedge/core/second_edge.hpp"
#include "firstedge/core/stamp.hpp"

#include <cstdint>
#include <span>
#include <utility>
#include <vector>

namespace firstedge {

/// Reading of a digitizer's own clock whose ticks are seconds: the rate of such readings is 1 Hz.
CounterReading reading_of(const Instant& own_time, const LeapSeconds& leap_seconds);

/// One edge a stamp that has a time and no flag, in order of time: the trigger's Instant by the digitizer's
/// own clock and the stamp's time from the trigger. Each is labelled with the nearest whole second of that
/// clock: it must be right to half a second. Records without a trigger have no edge. triggers: record and
/// Instant, rising.
std::vector<SecondEdge> edges_of_stamps(std::span<const Stamp> stamps,
                                        std::span<const std::pair<std::uint64_t, Instant>> triggers,
                                        const LeapSeconds& leap_seconds);

}  // namespace firstedge
