// A counter tied to UTC, and single instants on every scale, as results that can be shown.
#pragma once

#include "firstedge/clock/counter_clock.hpp"
#include "firstedge/clock/leap_seconds.hpp"
#include "firstedge/core/result.hpp"

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace firstedge {

/// A reading whose time is wanted, as it was found.
struct TimedReading {
  CounterReading reading;
  CounterInstant found;
};
std::vector<TimedReading> timed(const CounterClock& clock, std::span<const CounterReading> readings);

/// The edges' account, the counter's rate and its wander, slips, how uncertainty grows in holdover, and the
/// first most_shown_readings of the readings. edges: those that the clock was made from.
Result tie_result(const CounterClock& clock, std::span<const SecondEdge> edges,
                  std::span<const TimedReading> readings, const LeapSeconds& leap_seconds);
inline constexpr std::size_t most_shown_readings = 200;

/// All readings as comma-separated text: "counter,utc,uncertainty_s,from_edge_s,remark", numbers in full.
std::string readings_text(std::span<const TimedReading> readings, const LeapSeconds& leap_seconds);

/// A time as people write it, ISO 8601 ("2016-12-31T23:59:60Z", with " TAI" or " GPS" behind it), "MJD
/// 57754.25" or "week 1930 second 18.5" (GPS time), on the scale given where the text does not say. Throws
/// Error naming `place`.
Instant parse_time(std::string_view text, TimeScale scale, const LeapSeconds& leap_seconds,
                   const std::string& place);

/// Each instant on UTC, TAI and GPS time, as Modified Julian Date and as GPS week. Throws as on_scale.
Result instants_result(std::span<const Instant> instants, const LeapSeconds& leap_seconds);

}  // namespace firstedge
