#include "firstedge/clock/stamp_edges.hpp"

#include "firstedge/clock/time_scales.hpp"

#include <algorithm>
#include <cmath>

namespace firstedge {

CounterReading reading_of(const Instant& own_time, const LeapSeconds& leap_seconds) {
  const Instant tai = on_scale(own_time, TimeScale::tai, leap_seconds);
  return {tai.seconds, static_cast<double>(tai.femtoseconds) / static_cast<double>(femtoseconds_per_second)};
}

std::vector<SecondEdge> edges_of_stamps(std::span<const Stamp> stamps,
                                        std::span<const std::pair<std::uint64_t, Instant>> triggers,
                                        const LeapSeconds& leap_seconds) {
  std::vector<SecondEdge> edges;
  for (const Stamp& stamp : stamps) {
    if (!std::isfinite(stamp.time_s) || !stamp.flags.without(doubts_of_uncertainty).empty()) continue;
    const auto trigger = std::partition_point(triggers.begin(), triggers.end(),
                                              [&](const auto& one) { return one.first < stamp.record; });
    if (trigger == triggers.end() || trigger->first != stamp.record) continue;
    const Instant tai = advanced(on_scale(trigger->second, TimeScale::tai, leap_seconds), stamp.time_s);
    const bool up = tai.femtoseconds >= femtoseconds_per_second / 2;
    edges.push_back({.counter = reading_of(tai, leap_seconds),
                     .label = Instant{TimeScale::tai, tai.seconds + (up ? 1 : 0), 0}});
  }
  std::stable_sort(edges.begin(), edges.end(), [](const SecondEdge& a, const SecondEdge& b) {
    return a.counter.ticks != b.counter.ticks ? a.counter.ticks < b.counter.ticks
                                              : a.counter.fraction < b.counter.fraction;
  });
  return edges;
}

}  // namespace firstedge
